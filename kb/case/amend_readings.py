"""One reading of a job put right: unit, quantity, place, phase; what was typed never changes."""

from dataclasses import replace
from typing import Final, Protocol

from kb.case.casefile import make_reading
from kb.case.model import Job, Phase, Reading, ReadingSet
from kb.case.place_text import place_text
from kb.case.terms import Vocabulary
from kb.errors import NotFoundError, UnknownTermError


class Amend(Protocol):
    """Puts one thing of the piece numbered ``index`` right, from a typed or tapped value."""

    def __call__(self, job: Job, index: int, value: str, /, *, words: Vocabulary) -> Job:
        """Return the job with that one change."""


def readings_of(job: Job) -> tuple[tuple[ReadingSet, Reading], ...]:
    """Return every reading with its set, through all sets in order."""
    return tuple((group, row) for group in job.reading_sets for row in group.readings)


def reading_at(job: Job, index: int) -> Reading:
    """Return the reading numbered ``index`` through all sets.

    Raises
    ------
    NotFoundError
        If the job has fewer.
    """
    return readings_of(job)[_known(job, index)][1]


def _known(job: Job, index: int) -> int:
    count = len(readings_of(job))
    if not 0 <= index < count:
        raise NotFoundError(f"expected a reading below {count}, got {index}; look at the job again")
    return index


def _split(job: Job, index: int) -> tuple[int, int]:
    """Return the number of the set and the number of the reading in it."""
    left = _known(job, index)
    for number, group in enumerate(job.reading_sets):
        if left < len(group.readings):
            return number, left
        left -= len(group.readings)
    raise AssertionError("a known reading stands in a set")


def _with_set(job: Job, number: int, readings: tuple[Reading, ...]) -> Job:
    """Return the job with other readings in one set; a set left empty goes."""
    sets = job.reading_sets
    changed = (replace(sets[number], readings=readings),) if readings else ()
    return replace(job, reading_sets=(*sets[:number], *changed, *sets[number + 1 :]))


def _put(job: Job, index: int, reading: Reading) -> Job:
    number, at = _split(job, index)
    rows = job.reading_sets[number].readings
    return _with_set(job, number, (*rows[:at], reading, *rows[at + 1 :]))


def set_unit(job: Job, index: int, unit: str, *, words: Vocabulary) -> Job:
    """Return the job with one typed value read in another unit.

    Raises
    ------
    UnitError, LimitError
        If the quantity is not measured in it, or the value cannot be right in it; the likely
        units are named.
    """
    row = reading_at(job, index)
    made = make_reading(words, row.quantity, row.typed, unit=unit, position=row.position)
    return _put(job, index, made)


def set_quantity(job: Job, index: int, quantity: str, *, words: Vocabulary) -> Job:
    """Return the job with one typed value read as another quantity, in the unit that it has.

    Raises
    ------
    UnknownTermError, UnitError, LimitError
        If there is no such quantity, or the value in its unit cannot be one of it.
    """
    row = reading_at(job, index)
    made = make_reading(words, quantity, row.typed, unit=row.unit, position=row.position)
    return _put(job, index, made)


def set_place(job: Job, index: int, place: str, *, words: Vocabulary) -> Job:
    """Return the job with one reading taken at another place; an empty one takes it away."""
    row = reading_at(job, index)
    return _put(job, index, replace(row, position=place_text(place)))


def set_phase(job: Job, index: int, phase: str, *, words: Vocabulary) -> Job:
    """Return the job with one reading in the set of another phase, made where there is none.

    The state of the car stays as it was; only readings taken during a check belong to one.
    """
    if phase not in set(Phase):
        raise UnknownTermError(f"expected one of {', '.join(Phase)}, got '{phase[:20]}'")
    number, at = _split(job, index)
    group = job.reading_sets[number]
    if group.phase == phase:
        return job
    reading = group.readings[at]
    target = _set_for(job, group, Phase(phase))
    if target is None:
        made = ReadingSet(phase=Phase(phase), state=group.state, readings=(reading,))
        job = replace(job, reading_sets=(*job.reading_sets, made))
    else:
        rows = (*job.reading_sets[target].readings, reading)
        job = _with_set(job, target, rows)
    return _with_set(job, number, (*group.readings[:at], *group.readings[at + 1 :]))


def _set_for(job: Job, group: ReadingSet, phase: Phase) -> int | None:
    for number, row in enumerate(job.reading_sets):
        free = phase is Phase.DURING or row.finding is None
        if row.phase is phase and row.state == group.state and free:
            return number
    return None


def take_out(job: Job, index: int, value: str, *, words: Vocabulary) -> Job:
    """Return the job without one reading; the typed line stays."""
    number, at = _split(job, index)
    rows = job.reading_sets[number].readings
    return _with_set(job, number, (*rows[:at], *rows[at + 1 :]))


READING_CHANGES: Final[dict[str, Amend]] = {
    "unit": set_unit,
    "quantity": set_quantity,
    "place": set_place,
    "phase": set_phase,
    "out": take_out,
}
