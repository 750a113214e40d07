"""Write notes of the shop about a pattern of jobs, change them, take them down."""

import re
from collections.abc import Collection, Mapping
from dataclasses import asdict, replace
from typing import Final

from kb.case.one_line import one_line
from kb.case.story import render_story
from kb.case.terms import Vocabulary
from kb.errors import ConflictError, FieldsError, ParseError
from kb.store.notes import NoteText, Pattern
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.week.rows import WeekRow

# Longest title, and longest make or model, in characters (our choice).
LONGEST_TITLE: Final = 120
LONGEST_NAME: Final = 60
# The fields of a pattern that are typed freely, and those that name a term.
_NAMES: Final = ("make", "model")
_HEADING: Final = re.compile(r"(</?)h[1-4]>")


# --- writing -----------------------------------------------------------------------------------


def write_note(
    unit: UnitOfWork,
    typed: Mapping[str, str],
    *,
    words: Vocabulary,
    row: tuple[str, str] | None = None,
) -> int:
    """Write a new note and return its number.

    Parameters
    ----------
    typed : mapping
        ``title``, ``body`` and the fields of the pattern as typed; what is missing is empty.
    row : tuple of str or None
        Week and key of the row that it was written from.

    Raises
    ------
    FieldsError
        If a field cannot be taken; says why at each.
    """
    week, row_key = row or (None, None)
    return unit.notes.add(_text(typed, words), week=week, row_key=row_key)


def change_note(
    unit: UnitOfWork, note_id: int, typed: Mapping[str, str], *, words: Vocabulary, seen: int
) -> None:
    """Write a note anew; ``seen`` is the revision that it was filled from.

    Raises
    ------
    NotFoundError
        If there is none of that number.
    FieldsError
        If a field cannot be taken; says why at each.
    ConflictError
        If somebody changed it since.
    """
    note = unit.notes.get(note_id)
    text = _text(typed, words, note.text.pattern)
    if note.revision != seen:
        raise ConflictError(
            "expected the note as you saw it, got one that somebody changed meanwhile; look at "
            "both, then save yours or leave it"
        )
    if text != note.text:
        unit.notes.change(note, text)


def set_active(unit: UnitOfWork, note_id: int, *, active: bool) -> None:
    """Take a note down, or put it up again; nothing is written where it stands so already.

    Raises
    ------
    NotFoundError
        If there is none of that number.
    """
    note = unit.notes.get(note_id)
    if note.active != active:
        unit.notes.set_active(note, active=active)


def note_html(body: str) -> str:
    """Return the clean HTML of a note, its headings below those of the page that it stands on.

    Raises
    ------
    ParseError
        If the text is longer, more bracketed or deeper than the caps of ``render_story``.
    """
    return _HEADING.sub(r"\1h4>", render_story(body))


def _text(typed: Mapping[str, str], words: Vocabulary, before: Pattern | None = None) -> NoteText:
    title, body = one_line(typed.get("title", "")), typed.get("body", "").replace("\r\n", "\n")
    errors, html = _title_errors(title), ""
    try:
        html = note_html(body.strip())
    except ParseError as error:
        errors["body"] = str(error)
    if not body.strip():
        errors["body"] = "expected what a colleague should know, got nothing; write it down"
    pattern, wrong = _pattern(typed, words, before)
    errors |= wrong
    if errors:
        raise FieldsError(errors)
    return NoteText(title=title, body=body.strip(), body_html=html, pattern=pattern)


def _title_errors(title: str) -> dict[str, str]:
    if not title:
        return {"title": "expected a title, got nothing; say in a few words what it is about"}
    if len(title) > LONGEST_TITLE:
        return {"title": f"expected at most {LONGEST_TITLE} characters, got {len(title)}"}
    return {}


def _terms(words: Vocabulary) -> Mapping[str, Collection[str]]:
    return {"system": words.systems, "cause": words.causes, "symptom": words.symptoms}


def _pattern(
    typed: Mapping[str, str], words: Vocabulary, before: Pattern | None
) -> tuple[Pattern, dict[str, str]]:
    """Return the pattern and what is wrong with it; a term that it had before may stay."""
    chosen = {name: typed.get(name, "") for name in _terms(words)}
    named = {name: one_line(typed.get(name, "")) for name in _NAMES}
    had = asdict(before or Pattern())
    errors = {
        name: f"expected a {name} that the shop knows, got '{chosen[name][:40]}'; choose one"
        for name, known in _terms(words).items()
        if chosen[name] and chosen[name] not in known and chosen[name] != had[name]
    }
    for name, value in named.items():
        if len(value) > LONGEST_NAME:
            errors[name] = f"expected at most {LONGEST_NAME} characters, got {len(value)}"
    pattern = Pattern(**{name: value or None for name, value in (chosen | named).items()})
    if pattern == Pattern():
        errors["system"] = (
            "expected which jobs it is for, got none of the five fields; choose or type at least "
            "one, so that the note does not stand on every job"
        )
    return pattern, errors


# --- written from a row of the week ------------------------------------------------------------


def from_row(unit: UnitOfWork, row: WeekRow, words: Vocabulary) -> Pattern:
    """Return the pattern that a row of the week is about, as far as its subject names one.

    Make and model are those of the cases behind the row that the subject names too.
    """
    pattern = Pattern()
    for name, known in _terms(words).items():
        found = next((part for part in row.subject if part in known), None)
        pattern = replace(pattern, **{name: found})
    named = {part.casefold() for part in row.subject if part}
    for line in unit.weeks.lines_of(row.cases[:1]):
        make = line.make if (line.make or "").casefold() in named else None
        model = line.model if (line.model or "").casefold() in named else None
        pattern = replace(pattern, make=make, model=model)
    return pattern
