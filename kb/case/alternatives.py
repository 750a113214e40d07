"""What a piece may have meant instead, the likeliest first, so that one tap puts it right."""

import re
from collections.abc import Iterable
from typing import Final

from kb.case.grammar.built import Built
from kb.case.model import Finding, Reading, Symptom
from kb.case.terms import OPEN_OUTCOMES, Vocabulary
from kb.case.units import Quantity, convert, parse_value

# Shown at one piece; more is a list to read, not a tap (our choice).
MOST: Final = 6
# In widths of the usual band: a weak part is read a little outside it (our choice).
_NEARLY: Final = 0.25
_CORNERS: Final = ("LF", "RF", "LR", "RR")
_BANKS: Final = ("bank 1", "bank 2")
# Places that stand in the catalogue for several; engines of more cylinders are typed.
_SEVERAL: Final[dict[str, tuple[str, ...]]] = {
    "wheel": _CORNERS,
    "bank": _BANKS,
    "bank 1/2": _BANKS,
    "cylinder": tuple(f"cylinder {number}" for number in range(1, 9)),
    "sensor 1/2/3": ("sensor 1", "sensor 2", "sensor 3"),
}
_PLACE: Final = re.compile(r"[A-Za-z][A-Za-z -]*(?: [12])?")
SYMPTOM_PLACES: Final = ("front", "rear", "left", "right", *_CORNERS)
_WORD: Final = re.compile(r"[a-z]{3,}")


def outside_band(value: float, unit: str, quantity: Quantity) -> float | None:
    """Return how far a value lies outside the usual band, in widths of the band.

    None where the hard limits refuse it; inside the band it is 0.
    """
    number = convert(value, unit, quantity.unit)
    if not quantity.hard[0] <= number <= quantity.hard[1]:
        return None
    if quantity.typical is None:
        return _NEARLY
    low, high = quantity.typical
    return max(low - number, number - high, 0.0) / max(high - low, 1e-9)


def other_quantities(row: Reading, words: Vocabulary) -> tuple[str, ...]:
    """Return up to six other quantities that take the unit and the value of a reading.

    Those in whose usual band the value lies come first, among them those of the same group.
    """
    mine = words.quantities.get(row.quantity)
    others = [
        (order, quantity)
        for order, quantity in enumerate(words.quantities.values())
        if quantity.key != row.quantity and row.unit in quantity.accepted
    ]
    numbers = _typed_numbers(row) if others else None
    ranked: list[tuple[float, bool, int, str]] = []
    for order, quantity in others:
        far = _far(row.unit, numbers, quantity)
        if far is not None:
            other_group = mine is None or quantity.group != mine.group
            ranked.append((max(far, _NEARLY), other_group, order, quantity.key))
    return tuple(key for *_, key in sorted(ranked)[:MOST])


def _far(unit: str, numbers: list[float] | None, quantity: Quantity) -> float | None:
    if numbers is None:
        return _NEARLY
    far = [outside_band(number, unit, quantity) for number in numbers]
    known = [one for one in far if one is not None]
    return max(known) if len(known) == len(far) else None


def _typed_numbers(row: Reading) -> list[float] | None:
    if row.canonical is None:
        return None
    value = parse_value(row.typed)
    return [number for number in (value.low, value.high) if number is not None]


def units_of(row: Reading, words: Vocabulary) -> tuple[str, ...]:
    """Return the units in which the quantity of a reading may be typed."""
    known = words.quantities.get(row.quantity)
    return known.accepted if known else (row.unit,)


def places_of(row: Reading, words: Vocabulary) -> tuple[str, ...]:
    """Return the places at which the quantity of a reading is taken."""
    known = words.quantities.get(row.quantity)
    return _unique(
        place
        for one in (known.positions if known else ())
        for place in _SEVERAL.get(one, (one,) if _PLACE.fullmatch(one) else ())
    )


def other_concepts(row: Symptom, words: Vocabulary) -> tuple[str, ...]:
    """Return up to six other symptoms that share most words with what was typed or understood."""
    mine = words.symptoms.get(row.concept or "")
    said = _words_of(f"{row.text} {mine.say if mine else ''}")
    system = mine.system if mine else None
    ranked = []
    for order, (key, of, names) in enumerate(_SAID.of(words)):
        shared = len(said & names)
        if (shared or of == system) and key != row.concept:
            ranked.append((-shared, of != system, order, key))
    return tuple(key for *_, key in sorted(ranked)[:MOST])


def _words_of(text: str) -> frozenset[str]:
    return frozenset(_WORD.findall(text.lower()))


def _symptoms_said(words: Vocabulary) -> tuple[tuple[str, str, frozenset[str]], ...]:
    """Return key, system and the words of each symptom."""
    return tuple((row.key, row.system, _words_of(row.say)) for row in words.symptoms.values())


_SAID: Final = Built(_symptoms_said)


def other_conditions(key: str, words: Vocabulary) -> tuple[str, ...]:
    """Return the opposites of a condition, then the others of its family."""
    mine = words.conditions.get(key)
    if mine is None:
        return ()
    family = (row.key for row in words.conditions.values() if row.family == mine.family)
    return tuple(one for one in _unique((*mine.opposite, *family)) if one != key)


def outcomes_of(row: Finding, words: Vocabulary) -> tuple[str, ...]:
    """Return every outcome that a check may have."""
    known = words.checks.get(row.check)
    return (*(known.outcomes if known else ()), *OPEN_OUTCOMES)


def _unique(keys: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(keys))
