"""Readings of invented jobs: around the usual band, and off it where the cause is told to show."""

from collections.abc import Sequence
from functools import cached_property
from random import Random
from typing import Final

from kb.case.casefile import make_reading
from kb.case.model import Phase, Reading, ReadingSet
from kb.case.term_rows import BaselineReading
from kb.case.terms import Vocabulary
from kb.case.units import Quantity, convert
from kb.workflow.invented_plan import Table

# Part of the quantities that a cause moves, and by how many widths of the band (our choice).
_MOVED: Final = 0.5
_BY: Final = (0.5, 1.3)
# Standard deviation of a reading in widths of the band (our choice).
_SCATTER: Final = 0.15
# Readings in one set, least and most.
_READ: Final = (2, 4)


class Readings:
    """Makes reading sets; the same cause moves the same quantities in every job.

    Parameters
    ----------
    words : Vocabulary
        Bands, limits, units, and which readings a system asks for.
    course : Table
        How many jobs have readings.
    """

    def __init__(self, words: Vocabulary, course: Table) -> None:
        self._words = words
        self._course = course
        self._moves: dict[tuple[str, str], float] = {}
        self._made: dict[tuple[str, str, str | None], Reading] = {}

    @cached_property
    def _asked(self) -> dict[str, tuple[BaselineReading, ...]]:
        return {
            system: tuple(
                row for row in baseline.always if self._words.quantities[row.quantity].typical
            )
            for system, baseline in self._words.baselines.items()
        }

    def of(self, rng: Random, *, system: str, cause: str) -> tuple[ReadingSet, ...]:
        """Return the readings before the repair, in some jobs with those after it."""
        asked = self._asked.get(system)
        if not asked or rng.random() >= self._course["readings"]:
            return ()
        rows = rng.sample(asked, min(len(asked), rng.randint(*_READ)))
        placed = [(row, rng.choice(row.positions) if row.positions else None) for row in rows]
        state = tuple(rng.sample(self._words.baselines[system].conditions, 1))
        before = self._read(rng, placed, cause=cause)
        sets = [ReadingSet(phase=Phase.BEFORE, state=state, readings=before)]
        if rng.random() < self._course["readings_after"]:
            after = self._read(rng, placed, cause=None)
            sets.append(ReadingSet(phase=Phase.AFTER, state=state, readings=after))
        return tuple(sets)

    def _read(
        self,
        rng: Random,
        placed: Sequence[tuple[BaselineReading, str | None]],
        *,
        cause: str | None,
    ) -> tuple[Reading, ...]:
        made = []
        for row, place in placed:
            quantity = self._words.quantities[row.quantity]
            value = self._value(rng, quantity, self._move(cause, row.quantity) if cause else 0.0)
            made.append(self.typed(quantity, value, unit=quantity.shown, position=place))
        return tuple(made)

    def _move(self, cause: str, quantity: str) -> float:
        """Return by how many widths of the band a cause moves a quantity, 0 for most."""
        key = (cause, quantity)
        if key not in self._moves:
            rng = Random(f"{cause} {quantity}")  # noqa: S311 - no secret
            moved = rng.random() < _MOVED
            self._moves[key] = rng.choice((-1, 1)) * rng.uniform(*_BY) if moved else 0.0
        return self._moves[key]

    @staticmethod
    def _value(rng: Random, quantity: Quantity, move: float) -> float:
        """Return a value in the unit that is shown."""
        assert quantity.typical is not None
        low, high = quantity.typical
        width = high - low
        least, most = quantity.hard
        value = (low + high) / 2 + width * (move + rng.gauss(0, _SCATTER))
        return convert(min(max(value, least), most), quantity.unit, quantity.shown)

    def typed(
        self, quantity: Quantity, value: float, *, unit: str, position: str | None = None
    ) -> Reading:
        """Return a reading as somebody would type it: with as many places as the band is fine."""
        low, high = quantity.typical or quantity.hard
        width = abs(convert(high, quantity.unit, unit) - convert(low, quantity.unit, unit))
        places = sum(width < bound for bound in (30, 3, 0.3))
        text = f"{value:.{places}f}"
        text = text.removeprefix("-") if not text.strip("-0.") else text
        key = (quantity.key, text + unit, position)
        if key not in self._made:
            self._made[key] = make_reading(
                self._words, quantity.key, text, unit=unit, position=position
            )
        return self._made[key]
