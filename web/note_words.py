"""Shop notes in words: which jobs one is for, a line for the terminal, what a form offers."""

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

from kb.case.terms import Vocabulary
from kb.store.notes import Note, Pattern


def pattern_fields(pattern: Pattern) -> dict[str, str]:
    """Return the fields of a pattern as a form shows them; empty where any will do."""
    return {name: value or "" for name, value in asdict(pattern).items()}


def where_shown(pattern: Pattern, words: Vocabulary) -> str:
    """Return on which open jobs a note is shown, in words."""
    symptom = words.symptoms.get(pattern.symptom or "")
    system = words.systems.get(pattern.system or "")
    parts = (
        ("system", system.name if system else pattern.system),
        ("likely cause", words.cause_name(pattern.cause) if pattern.cause else None),
        ("symptom", symptom.say if symptom else pattern.symptom),
        ("make", pattern.make),
        ("model or family", pattern.model),
    )
    return "; ".join(f"{name}: {value}" for name, value in parts if value)


def note_lines(notes: Iterable[Note]) -> list[str]:
    """Return notes for the terminal, a line each, with who wrote it and when."""
    return [
        f"{note.text.title} (from the shop: {note.who}, {note.at.astimezone().date().isoformat()})"
        for note in notes
    ]


def term_choices(words: Vocabulary) -> Mapping[str, Any]:
    """Return what a note's form offers: systems, and causes and symptoms by their system."""
    by_system = words.systems.values()
    causes = [
        (system.name, [(row.key, row.name) for row in words.causes.values() if row.system == key])
        for key, system in words.systems.items()
    ]
    symptoms = [
        (system.name, [(row.key, row.say) for row in words.symptoms.values() if row.system == key])
        for key, system in words.systems.items()
    ]
    return {
        "systems": [(row.key, row.name) for row in by_system],
        "causes": [row for row in causes if row[1]],
        "symptoms": [row for row in symptoms if row[1]],
    }
