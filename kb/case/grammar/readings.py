"""Readings: short names before or after their number, with or without unit and place."""

from typing import Final

from kb.case.grammar.name_first import NameFirst
from kb.case.grammar.number_first import NumberFirst
from kb.case.grammar.places import place_at
from kb.case.grammar.sink import Bare, Found, Gathered
from kb.case.grammar.values import value_at

__all__ = ["Bare", "Found", "Gathered", "ReadingScanner"]


# Places that hold for all readings of the clause that they begin.
_HEADS: Final = frozenset({"LF", "RF", "LR", "RR", "bank 1", "bank 2"})


class ReadingScanner(NameFirst, NumberFirst):
    """Goes through one line once, from left to right."""

    def run(self, taken: frozenset[int]) -> Gathered:
        """Return all that was found; marks in ``taken`` belong to something else."""
        self.taken = taken
        index = 0
        while index < len(self.line.marks):
            index = self._step(index)
        return self.out

    def _step(self, index: int) -> int:
        if index in self.taken:
            self._before = None
            return index + 1
        rows, size = self.names.names.at(self.line, index)
        if rows:
            stop = self._named(index, rows, size)
            if stop:
                self._before = None
                return stop
        return self._unnamed(index) or index + max(size, 1)

    def _unnamed(self, index: int) -> int:
        """Read what is no name: a place, a number, a verb of change; 0 where it is none."""
        spot = place_at(self.line, index, self.names)
        if spot:
            self._before = spot
            if index == self.line.clause_bounds(index)[0] or self.line.low(index - 1) == ",":
                self._wheel = spot if spot.text in _HEADS else None
            return spot.stop
        value = value_at(self.line, index)
        if value:
            stop = self._numbered(value)
            self._before = None
            return stop
        if self.line.low(index) not in self.names.fillers:
            self._before = None
        return self._changes_to(index)
