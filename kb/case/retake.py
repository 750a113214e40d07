"""Readings taken again after the repair: which to ask for, what was typed, what changed."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from zlib import crc32

from kb.case.casefile_reader import make_reading
from kb.case.model import Job, Phase, Reading, ReadingSet
from kb.case.terms import Vocabulary
from kb.case.units import Quantity, convert
from kb.errors import KBError, UnitError

# A value or a range as the bay types it, then what may be a unit.
_NUMBER = r"[-+−]?[\d.,]+"
_TYPED = re.compile(
    rf"(?P<value>(?:[<>]=?|over|under)?\s*{_NUMBER}(?:\s*(?:-|–|to|\.\.)\s*{_NUMBER})?)"
    r"\s*(?P<unit>[A-Za-z°%Ωµ#\"'/].*|32\D+)",
    re.IGNORECASE,
)


@dataclass(frozen=True, slots=True, kw_only=True)
class AsFound:
    """A reading as found with the state of its set; ``name`` is the same as long as it is."""

    name: str
    reading: Reading
    state: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Retaken:
    """A reading as found beside the one after the repair; ``change`` is in the unit as found.

    One of both is None where it was read once only; ``change`` also where one is no number.
    """

    before: Reading | None = None
    after: Reading | None = None
    change: float | None = None


def _place(row: Reading) -> tuple[str, str | None]:
    return row.quantity, row.position


def _found(job: Job) -> Iterator[tuple[Reading, ReadingSet]]:
    """Yield readings as found; those of a check only where they were not read without it."""
    sets = [group for group in job.reading_sets if group.phase is Phase.BEFORE]
    plain = {_place(row) for group in sets if group.finding is None for row in group.readings}
    for group in sets:
        for row in group.readings:
            if group.finding is None or _place(row) not in plain:
                yield row, group


def as_found(job: Job) -> tuple[AsFound, ...]:
    """Return every reading as found, in order: what is to be read again after the repair."""
    rows, seen = [], dict[str, int]()
    for row, group in _found(job):
        what = "|".join([row.quantity, row.position or "", row.typed, row.unit, *group.state])
        again = seen[what] = seen.get(what, -1) + 1
        name = f"after_{crc32(what.encode()):08x}_{again}"
        rows.append(AsFound(name=name, reading=row, state=group.state))
    return tuple(rows)


def read_again(words: Vocabulary, found: Reading, typed: str) -> Reading:
    """Return the reading typed after the repair, in the unit as found unless one is typed.

    Raises
    ------
    KBError
        If it is no value, the unit is not one of the quantity, or it lies outside the hard limits
        (then the likely unit mistake is named).
    """
    quantity = words.quantity(found.quantity)
    value, unit = typed.strip(), found.unit
    match = _TYPED.fullmatch(value)
    if match:
        value, unit = match["value"], _unit(words, quantity, match["unit"].strip())
    return make_reading(words, found.quantity, value, unit=unit, position=found.position)


def _unit(words: Vocabulary, quantity: Quantity, typed: str) -> str:
    """Return the accepted unit that ``typed`` spells; capitals count where both are units."""
    for fold in (str, str.lower):
        for unit in quantity.accepted:
            if fold(typed) in {fold(spelling) for spelling in _spellings(words, unit)}:
                return unit
    accepted = ", ".join(quantity.accepted)
    raise UnitError(
        f"expected {quantity.name} in {accepted}, got {typed[:20]}; write one of them, or none"
    )


def _spellings(words: Vocabulary, unit: str) -> tuple[str, ...]:
    # A note in brackets says when a spelling means the unit; here the quantity is known.
    return (unit, *(row.partition(" (")[0] for row in words.unit_words.get(unit, ())))


def after_sets(
    rows: Iterable[tuple[AsFound, Reading]], *, other_conditions: str = ""
) -> tuple[ReadingSet, ...]:
    """Return the reading sets after the repair, one for each set as found.

    With ``other_conditions`` the conditions as found were not to be had again: the words stand in
    place of the state.
    """
    groups: dict[tuple[str, ...], list[Reading]] = {}
    for found, after in rows:
        state = (f"other conditions: {other_conditions}",) if other_conditions else found.state
        groups.setdefault(state, []).append(after)
    return tuple(
        ReadingSet(phase=Phase.AFTER, state=state, readings=tuple(readings))
        for state, readings in groups.items()
    )


def retaken(job: Job, words: Vocabulary) -> tuple[Retaken, ...]:
    """Return each reading as found beside the one after the repair, then those read only after.

    Of several after the repair, that of the same state comes first, then the earliest.
    """
    left = [
        (row, group.state)
        for group in job.reading_sets
        if group.phase is Phase.AFTER
        for row in group.readings
    ]
    pairs = []
    for before, group in _found(job):
        fitting = [entry for entry in left if _place(entry[0]) == _place(before)]
        best = min(fitting, key=lambda entry: entry[1] != group.state, default=None)
        if best is None:
            pairs.append(Retaken(before=before))
            continue
        left.remove(best)
        change = _change(words, before, best[0])
        pairs.append(Retaken(before=before, after=best[0], change=change))
    return (*pairs, *(Retaken(after=row) for row, _ in left))


def _change(words: Vocabulary, before: Reading, after: Reading) -> float | None:
    quantity = words.quantity_now(before.quantity)
    if quantity is None or before.canonical is None or after.canonical is None:
        return None
    if before.word or after.word:
        return None
    try:
        first = convert(before.canonical, quantity.unit, before.unit)
        return convert(after.canonical, quantity.unit, before.unit) - first
    except KBError:
        return None
