"""Repairs and what became of them: which cars came back, with what, and how long each was watched.

A job that came back counts for the repair, never for itself. Nothing after the week is looked at.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from kb.store.week_rows import ClosedLine, Comeback
from kb.workflow.hold import holding_days
from kb.workflow.week.seen import Seen

# Ends after which there is a repair that can fail.
_CAN_FAIL: Final = frozenset({"fixed", "workaround", "comeback_same"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Repair:
    """One repair of a known cause.

    Attributes
    ----------
    line : ClosedLine
    car : str
    back : Comeback or None
        The first job that is written down as a comeback of it, open ones too.
    again : int or None
        Days to the first time that the car came in with the same cause.
    watched : int
        Days for which the shop would have known: to the end of the holding period, within which a
        car that fails is brought back to who repaired it; beyond it only as long as the car is
        seen here for other things. A car that is sold or stays away is not taken to hold.
    """

    line: ClosedLine
    car: str
    back: Comeback | None
    again: int | None
    watched: int

    @property
    def failed(self) -> bool:
        """True where it was seen to fail while it was watched."""
        return self.again is not None and self.again <= self.watched

    @property
    def days(self) -> int:
        """Days that it is known to have held."""
        return self.again if self.again is not None and self.failed else self.watched

    def back_within(self, days: int) -> bool:
        """Say whether the car came back, with whatever cause, within so many days."""
        return self.back is not None and (self.back.opened - self.line.closed).days <= days


@dataclass(frozen=True, slots=True, kw_only=True)
class Repairs:
    """All repairs of the weeks looked at, and the holding period of the shop in days."""

    rows: tuple[Repair, ...]
    holding: int


def repairs_of(seen: Seen) -> Repairs:
    """Return the repairs, oldest first."""
    backs: dict[str, Comeback] = {}
    for back in seen.comebacks:
        backs.setdefault(back.of, back)
    visits: defaultdict[str, list[ClosedLine]] = defaultdict(list)
    for line in seen.lines:
        visits[seen.vehicles[line.id]].append(line)
    last = _Last(day=seen.week.sunday, holding=timedelta(days=holding_days(seen.unit)))
    rows = tuple(
        _repair(line, seen.vehicles[line.id], backs, visits=visits, last=last)
        for line in seen.lines
        if line.cause and line.end in _CAN_FAIL
    )
    return Repairs(rows=rows, holding=last.holding.days)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Last:
    day: date
    holding: timedelta


def _repair(
    line: ClosedLine,
    car: str,
    backs: Mapping[str, Comeback],
    *,
    visits: Mapping[str, Sequence[ClosedLine]],
    last: _Last,
) -> Repair:
    back = backs.get(line.id)
    own = visits[car]
    if back is None and len(own) == 1:
        watched = min(last.holding, last.day - line.closed).days
        return Repair(line=line, car=car, back=None, again=None, watched=watched)
    later = [row for row in own if row.opened >= line.closed and row.id != line.id]
    same = [row.opened for row in later if row.cause == line.cause]
    if back is not None and back.cause == line.cause:
        same.append(back.opened)
    again = max(0, (min(same) - line.closed).days) if same else None
    # A comeback with another cause, or one that is still open, ends what is known of this repair.
    ends = back.opened if back is not None and back.cause != line.cause else last.day
    seen_to = max((line.closed + last.holding, *_other_visits(later, line)))
    watched = max(0, (min(ends, seen_to, last.day) - line.closed).days)
    return Repair(line=line, car=car, back=back, again=again, watched=watched)


def _other_visits(later: Iterable[ClosedLine], line: ClosedLine) -> Iterable[date]:
    """Return the days on which the car came in later for something of its own."""
    return (row.opened for row in later if row.comeback_of is None and row.cause != line.cause)
