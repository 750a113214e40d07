"""Values to the trade's words, for the pages and the terminal alike; nothing is computed here."""

import re
from collections.abc import Iterable, Mapping
from typing import Final

from kb.case.model import Finding, Phase, Polarity, Reading, ReadingSet, Response, Symptom
from kb.case.term_rows import Named
from kb.case.terms import Vocabulary
from kb.diagnosis.guess import GuessOrCheck

# How a screen writes a unit whose key in the store is not what a technician writes. A sign that
# stands at its number has no blank before it.
_SIGNS: Final = {
    "degF": " °F",
    "degC": " °C",
    "delta_degF": " °F",
    "delta_degC": " °C",
    "deg": "°",
    "percent": " %",
    "ohm": " Ω",
    "kohm": " kΩ",
    "Mohm": " MΩ",
    "mohm": " mΩ",
    "32nds": "/32 in",
    "count": "",
    "1": "",
}
_POLARITY: Final = {Polarity.NO: "not: ", Polarity.WEAK: "a little: ", Polarity.PAST: "earlier: "}
# When a reading set was taken, as the bay says it.
PHASES: Final = {
    Phase.BEFORE: "as found",
    Phase.DURING: "during a check",
    Phase.AFTER: "after the repair",
}
_KEYS: Final = re.compile(r"(?<=\d) (delta_deg[FC]|deg[FC]?|percent|[kMm]?ohm|32nds|count)\b")
# In a list of units no number stands before the key.
_DEGREES: Final = re.compile(r"\b(?:delta_)?deg[FC]\b")


def percent(chance: float) -> str:
    """Return a chance in whole percent; never none and never certain."""
    if chance < 0.01:
        return "under 1%"
    return "over 99%" if chance > 0.99 else f"{100 * chance:.0f}%"


def amount(typed: str, unit: str | None) -> str:
    """Return a typed value with its unit as a technician writes it.

    Examples
    --------
    >>> amount("68", "degF")
    '68 °F'
    """
    return typed + _SIGNS.get(unit or "1", f" {unit}")


def choice_words(options: Iterable[str]) -> str:
    """Return what may be meant, units and outcomes in the trade's spelling.

    Examples
    --------
    >>> choice_words(["degF", "no_change"])
    '°F or no change'
    """
    return " or ".join(_SIGNS.get(key, "").strip() or key.replace("_", " ") for key in options)


def state_words(key: str, words: Vocabulary) -> str:
    """Return one condition of a reading set in words."""
    known = words.conditions.get(key)
    return known.say if known else key.replace("_", " ")


def _may_have_unit(text: str) -> bool:
    """Say whether what stands in each of the keys of units stands in a text."""
    return "deg" in text or "percent" in text or "ohm" in text or "32nds" in text or "count" in text


def with_signs(text: str) -> str:
    """Return a sentence with the keys of units written as a technician writes them."""
    # Hardly a sentence has one, and a search for words costs a tenth of one by a pattern.
    if not _may_have_unit(text):
        return text
    beside = _KEYS.sub(lambda found: _SIGNS[found[1]], text)
    return _DEGREES.sub(lambda found: _SIGNS[found[0]].strip(), beside)


def named(rows: Mapping[str, Named], key: str) -> str:
    """Return the words for a key, or the key in plain words where the vocabulary lacks it."""
    return rows[key].name if key in rows else key.replace("_", " ")


def symptom_words(row: Symptom, words: Vocabulary) -> str:
    """Return a symptom as a screen says it, with place and conditions."""
    term = words.symptoms.get(row.concept) if row.concept else None
    said = term.say if term else row.text
    when = [words.conditions[c].say for c in row.conditions if c in words.conditions]
    never = [f"not {words.conditions[c].say}" for c in row.not_conditions if c in words.conditions]
    head = _POLARITY.get(row.polarity, "") + said
    place = f" [{row.position}]" if row.position else ""
    return head + place + (f" ({', '.join([*when, *never])})" if when or never else "")


def quantity_words(row: Reading, words: Vocabulary) -> str:
    """Return the words for what a reading measures."""
    known = words.quantity_now(row.quantity)
    return known.name if known else row.quantity.replace("_", " ")


def reading_words(row: Reading, words: Vocabulary) -> str:
    """Return a reading as typed, with its place."""
    text = f"{quantity_words(row, words)} {amount(row.typed, row.unit)}"
    return f"{text} [{row.position}]" if row.position else text


def response_words(row: Response, words: Vocabulary) -> str:
    """Return what an action changed: from which value to which, or better, worse, gone."""
    if row.quantity and row.before_typed is not None:
        known = words.quantity_now(row.quantity)
        name = known.name if known else row.quantity.replace("_", " ")
        return f"{name} {row.before_typed} to {amount(row.after_typed or '?', row.unit)}"
    return str(row.change) if row.change else (row.action or "")


def finding_words(row: Finding, words: Vocabulary) -> str:
    """Return a check with its subject, what it showed, how often, and the minutes it took."""
    subject = f" ({row.subject})" if row.subject else ""
    text = f"{words.check_name(row.check)}{subject}: {row.outcome.replace('_', ' ')}"
    text += f", {row.repeats} times" if row.repeats > 1 else ""
    return text if row.minutes is None else f"{text}, {row.minutes:g} min"


def set_words(row: ReadingSet, words: Vocabulary) -> str:
    """Return when a reading set was taken, and the state of the car."""
    return when_words(row.phase, row.state, words)


def when_words(phase: Phase, state: Iterable[str], words: Vocabulary) -> str:
    """Return when something was read, and the state of the car."""
    said = ", ".join([state_words(key, words) for key in state])
    return f"{PHASES[phase]} ({said})" if said else PHASES[phase]


def guess_words(line: GuessOrCheck) -> str:
    """Return the guess-or-check line; money without a sign, as the shop's own."""
    repair, worth = line.repair_cents / 100, line.worth_cents / 100
    head = (
        f"Guess or check: at {repair:,.0f} for the repair and {line.check_cents / 100:,.0f} for the "
        f"first check, guessing pays only above {percent(line.threshold)}; "
        f"it stands at {percent(line.chance)}"
    )
    if line.guessing_pays:
        return f"{head}. Prove it with the repair all the same."
    return f"{head}, so a check that settles it is worth up to {worth:,.0f}."
