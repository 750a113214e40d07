"""Whether more cars come back now than used to, counted by the repairs that could have.

Most comebacks come soon, so that a shop with many new repairs has more of them without any being
worse. What could come back is therefore weighed by its age: each week of age at the share of
repairs of that age that come back in this shop.
"""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from functools import cached_property
from typing import Any, Final

from kb.diagnosis.trends import ALERT, CAUSES, QUIET, WATCH
from kb.diagnosis.two_rates import TwoCounts, more_now
from kb.workflow.week.by_week import by_week, newest_cases, two_windows, weeks_before
from kb.workflow.week.flags import Flag, flagged, flags_of
from kb.workflow.week.repairs import Repair, Repairs
from kb.workflow.week.seen import RECENT, Seen

# All systems together.
_ALL: Final = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Rate:
    """A rate that is up: comebacks of the recent weeks, and how many were to be expected."""

    flag: Flag
    recent: int
    before: int
    expected: float
    p: float
    cases: tuple[str, ...]

    def as_json(self, seen: Seen) -> dict[str, Any]:
        """Return the rate as values that JSON keeps."""
        return {
            "recent": self.recent,
            "before": self.before,
            "expected": self.expected,
            "p": self.p,
            "recent_weeks": RECENT,
            "before_weeks": weeks_before(seen.length),
            "flag": self.flag.name,
            "new": self.flag.new,
            "since": str(seen.week.shifted(-self.flag.since)),
        }


@dataclass
class AtRisk:
    """Comebacks within the holding period by week and system, and what was to be expected."""

    seen: Seen
    found: Repairs

    def _week(self, row: Repair) -> int:
        return self.seen.at(row.line)

    @cached_property
    def events(self) -> list[tuple[int, int, Repair]]:
        """The comebacks: week in which the car came back, weeks since the repair, the repair."""
        rows = []
        first = self.seen.first_week
        for row in self.found.rows:
            if row.back is not None and first and row.back_within(self.found.holding):
                at = (row.back.opened - first.monday) // timedelta(weeks=1)
                age = max(0, at - self._week(row))
                rows.append((max(0, at), age, row))
        return rows

    @cached_property
    def closed(self) -> dict[str, list[int]]:
        """The repairs of each system by week of close, and of all."""
        weeks = defaultdict[str, list[int]](list)
        for row in self.found.rows:
            weeks[row.line.system or _ALL].append(self._week(row))
        weeks[_ALL] = [at for row in weeks.values() for at in row]
        return {system: by_week(self.seen.length, row) for system, row in weeks.items()}

    @cached_property
    def hazards(self) -> list[float]:
        """The share of repairs that come back in each week of age, of the whole shop."""
        ages = self.found.holding // 7 + 1
        counts = [0] * ages
        for _, age, _ in self.events:
            counts[min(age, ages - 1)] += 1
        closed = self.closed[_ALL]
        seen = [sum(closed[: len(closed) - age]) for age in range(ages)]
        return [count / of if of else 0.0 for count, of in zip(counts, seen, strict=True)]

    @cached_property
    def expected(self) -> dict[str, list[float]]:
        """The comebacks to expect by week and system, were all repairs alike."""
        return {
            system: [
                sum(rate * row[at - age] for age, rate in enumerate(self.hazards[: at + 1]))
                for at in range(self.seen.length)
            ]
            for system, row in self.closed.items()
        }

    @cached_property
    def came(self) -> dict[str, list[int]]:
        """The comebacks by week and system, and of all."""
        sums = {system: [0] * self.seen.length for system in self.closed}
        for at, _, row in self.events:
            for system in {_ALL, row.line.system or _ALL}:
                sums[system][at] += 1
        return sums

    def recent(self, system: str, ago: int = 0) -> list[Repair]:
        """Return the repairs whose car came back in the recent weeks, the newest first."""
        last = self.seen.length - ago
        rows = [
            (at, row)
            for at, _, row in self.events
            if last - RECENT <= at < last and system in {_ALL, row.line.system}
        ]
        return [row for _, row in sorted(rows, key=lambda each: -each[0])]

    def counts(self, ago: int = 0) -> dict[str, TwoCounts]:
        """Return what is tested of each system, as of so many weeks ago."""
        made = {}
        for system, came in self.came.items():
            recent, before = two_windows(came, ago)
            now, then = two_windows(self.expected[system], ago)
            made[system] = TwoCounts(
                recent=recent, before=before, recent_exposure=now, before_exposure=then
            )
        return made

    def flags(self, ago: int = 0) -> Mapping[str, str]:
        """Return the systems whose rate is up, as of so many weeks ago."""
        counts = self.counts(ago)
        tested = more_now(list(counts.values()))
        rows = []
        for system, each in zip(counts, tested, strict=True):
            cars = len({row.car for row in self.recent(system, ago)}) if each.p < 1 else 0
            up = cars >= CAUSES.least and each.p < CAUSES.watch
            rows.append((system, QUIET if not up else ALERT if each.found else WATCH))
        return flagged(rows)


def rates_up(seen: Seen, risk: AtRisk) -> dict[str, Rate]:
    """Return the systems where more come back than used to; "" for all systems together.

    The rule of causes in ``kb.diagnosis.trends``: watched at its p with 3 cars, an alert where it
    is found among all systems too.
    """
    if not risk.events:
        return {}
    counts = risk.counts()
    tested = dict(zip(counts, more_now(list(counts.values())), strict=True))
    flags = flags_of(risk.flags(), risk.flags, weeks=seen.length)
    return {
        system: Rate(
            flag=flag,
            recent=counts[system].recent,
            before=counts[system].before,
            expected=counts[system].before
            * counts[system].recent_exposure
            / counts[system].before_exposure,
            p=tested[system].p,
            cases=newest_cases([row.line for row in risk.recent(system)]),
        )
        for system, flag in flags.items()
    }
