"""Arrivals by week out of the closed jobs: of a cause, a complaint or a system, model by model.

An arrival is one day on which cars of one make, model and engine came in with the same thing: eight
vans of a fleet brought on two days are two. It counts in the week in which the first was closed.
"""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import Final, TypeVar

from kb.diagnosis.arrivals import Series
from kb.diagnosis.trends import CAUSES
from kb.store.week_rows import ClosedLine
from kb.workflow.week.seen import BEFORE, RECENT, Placed, Seen

Number = TypeVar("Number", int, float)
# Weeks that a chart shows (our choice: half a year).
SHOWN: Final = 26
# Cases that a row names, the newest first (our choice).
MOST_CASES: Final = 50


@dataclass(slots=True, kw_only=True)
class Tally:
    """The arrivals of one thing over ``length`` weeks, and the jobs; both by week, oldest first."""

    length: int
    arrivals: list[int] = field(default_factory=list)
    weeks: list[int] = field(default_factory=list)
    jobs: list[Placed] = field(default_factory=list)
    known: set[int] = field(default_factory=set)

    def add(self, placed: Placed) -> None:
        """Count a job; jobs come in the order of their weeks."""
        at, arrival, _, _ = placed
        if arrival not in self.known:
            self.known.add(arrival)
            self.arrivals.append(at)
        self.weeks.append(at)
        self.jobs.append(placed)

    def _recent(self, ago: int) -> list[Placed]:
        last = self.length - ago
        first = bisect_left(self.weeks, last - RECENT)
        return self.jobs[first : bisect_left(self.weeks, last)]

    def recent(self, ago: int = 0) -> list[ClosedLine]:
        """Return the jobs of the recent weeks as of so many weeks ago, the newest first."""
        return [row for _, _, _, row in reversed(self._recent(ago))]

    def cars(self, ago: int = 0) -> int:
        """Return how many different cars came in the recent weeks."""
        return len({car for _, _, car, _ in self._recent(ago)})

    def counts(self, ago: int = 0, *, before: int = BEFORE) -> tuple[int, int]:
        """Return the arrivals of the recent weeks and of those before them."""
        last = self.length - ago
        marks = (last - RECENT - before, last - RECENT, last)
        oldest, first, end = (bisect_left(self.arrivals, mark) for mark in marks)
        return end - first, first - oldest

    def weekly(self) -> list[int]:
        """Return the arrivals of each week, oldest first."""
        counts = [0] * self.length
        for at in self.arrivals:
            counts[at] += 1
        return counts

    def series(self, key: str, group: str, *, ago: int = 0, usual: float | None = None) -> Series:
        """Return the series as it stood so many weeks ago."""
        # Without 3 arrivals nobody asks how many cars they were.
        cars = self.cars(ago) if self.counts(ago)[0] >= CAUSES.least else None
        weekly = tuple(cut(self.weekly(), ago))
        return Series(key=key, group=group, weekly=weekly, vehicles=cars, usual=usual)


def two_windows(
    weekly: Sequence[Number], ago: int = 0, *, before: int = BEFORE
) -> tuple[Number, Number]:
    """Return the sum of the recent weeks and that of the weeks before them."""
    last = len(weekly) - ago
    recent = max(0, last - RECENT)
    return sum(weekly[recent:last]), sum(weekly[max(0, recent - before) : recent])


def cut(weekly: Sequence[Number], ago: int) -> Sequence[Number]:
    """Return the weeks as they stood so many weeks ago."""
    return weekly[: len(weekly) - ago] if ago else weekly


def weeks_before(length: int, *, before: int = BEFORE) -> int:
    """Return how many weeks the recent ones are held against."""
    return max(0, min(before, length - RECENT))


def by_week(length: int, weeks: Iterable[int]) -> list[int]:
    """Return how many of some jobs lie in each known week, from the week of each."""
    weekly = [0] * length
    for at in weeks:
        weekly[at] += 1
    return weekly


def week_names(seen: Seen) -> list[str]:
    """Return the names of the weeks of a chart, the newest last."""
    shown = min(SHOWN, seen.length)
    return [str(seen.week.shifted(at)) for at in range(1 - shown, 1)]


def newest_cases(rows: Sequence[ClosedLine]) -> tuple[str, ...]:
    """Return the ids of jobs that a row names."""
    return tuple(row.id for row in rows[:MOST_CASES])
