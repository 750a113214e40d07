"""From a name to its number: over places, small words and verbs of change."""

from dataclasses import dataclass
from typing import Final

from kb.case.grammar.places import Spot, place_at
from kb.case.grammar.sink import ReadingSink
from kb.case.grammar.values import unit_at, value_at

_JOINS: Final = frozenset({"=", ":", "~", "(", "≈", "@"})
_NEAR: Final = frozenset({"is", "was", "at", "side", "of", "about", "reads", "now", "=", ":", "~",
                          "has", "only", "still", "are", "idle", "press", "pressure",
                          "sits", "sitting", "steady", "stays", "shows", "showing", "holds"})  # fmt: skip
_SWINGS: Final = frozenset(
    {"swings", "between", "swinging", "swing", "switching", "range", "varies"}
)
_MAX_SKIP: Final = 5
_AT_PART: Final = frozenset({"at", "on", "across", "@"})
_NUMBERED: Final = frozenset(
    {"pin", "pins", "terminal", "term", "cavity", "fuse", "wire", "circuit"}
)
_MAX_PART: Final = 3


@dataclass(slots=True)
class Search:
    """What stands between a name and its number."""

    at: int
    spot: Spot | None = None
    changed: bool = False
    falls: bool | None = None
    swings: bool = False
    close: bool = True


class Seeker(ReadingSink):
    """Finds the number that belongs to a name."""

    def _seek(self, index: int, *, weak: bool) -> Search | None:
        """Go on from a name to its number over places, small words and verbs of change."""
        search = Search(at=index)
        for _ in range(_MAX_SKIP):
            if search.at >= len(self.line.marks) or search.at in self.taken:
                return None
            if value_at(self.line, search.at) and not self._as_state(search):
                return search
            if not (self._skip(search, weak=weak) or (not weak and self._skip_part(search))):
                return None
        return None

    def _skip_part(self, search: Search) -> bool:
        """Step over the part of ``feed at window mtr 11.8``."""
        line, at = self.line, search.at
        if line.low(at - 1) not in _AT_PART:
            return False
        for _ in range(_MAX_PART):
            if (
                line.kind(at) != "word"
                or at in self.taken
                or line.clause[at] != line.clause[at - 1]
            ):
                return False
            if self.names.names.at(line, at)[0] or self.names.states.at(line, at)[0]:
                return False
            at += 2 if line.low(at) in _NUMBERED and line.kind(at + 1) == "number" else 1
            if value_at(line, at):
                search.at, search.close = at, False
                return True
        return False

    def _as_state(self, search: Search) -> bool:
        """Step over ``at 1500 rpm`` between a name and its number."""
        value = value_at(self.line, search.at)
        unit = unit_at(self.line, value.stop, self.names) if value else None
        if value is None or unit is None or not set(unit.units) & {"rpm", "mph", "km/h"}:
            return False
        if self.line.low(search.at - 1) not in {"at", "@"}:
            return False
        if value_at(self.line, unit.stop) is None:
            return False
        self._state(value, unit)
        search.at = unit.stop
        return value_at(self.line, search.at) is None

    def _skip(self, search: Search, *, weak: bool) -> bool:
        line, names = self.line, self.names
        low = line.low(search.at)
        spot = place_at(line, search.at, names)
        if spot:
            search.spot, search.at = spot, spot.stop
            return True
        if line.kind(search.at) == "arrow" or low in names.falls or low in names.rises:
            search.changed = True
            if line.kind(search.at) == "word":
                search.falls = low in names.falls
        elif low in _SWINGS:
            search.swings = True
        elif low == "from" and search.changed:
            pass
        elif not (
            low in (_NEAR if weak else names.fillers)
            or low in _JOINS
            or (low == "to" and search.changed)
        ):
            return False
        search.close = search.close and low in _JOINS
        search.at += 1
        return True
