"""How often each cause comes in an invented shop, on which vehicles, and at what time of the year."""

import math
from collections.abc import Iterable, Sequence
from itertools import accumulate
from random import Random
from typing import Final

from kb.case.iso_week import IsoWeek
from kb.case.terms import Vocabulary
from kb.workflow.invented_plan import Plan, Platform, Table

# Ranks before the first, so that the most frequent cause does not rule (our choice).
_RANKS_BEFORE: Final = 10
# Jobs a week for which the plan names how many a cause has (our choice).
USUAL: Final = 45
_WEEKS: Final = 52.18


def poisson(rng: Random, mean: float) -> int:
    """Return a Poisson draw by multiplying uniform ones (Knuth); ``mean`` up to some hundreds.

    Examples
    --------
    >>> poisson(Random(1), 0.0)
    0
    """
    limit, count, product = math.exp(-mean), 0, rng.random()
    while product > limit:
        count += 1
        product *= rng.random()
    return count


class Rates:
    """The chances of causes and of vehicles.

    Parameters
    ----------
    plan : Plan
        Ranks, swings and rules.
    words : Vocabulary
        Gives the causes that the plan does not name, and the system of each.
    """

    def __init__(self, plan: Plan, words: Vocabulary) -> None:
        self._plan = plan
        self._words = words
        listed = plan.tables["causes"]
        left_out = {*listed["often"], *listed["never"], *listed["weekly"]}
        ranked = [*listed["often"], *(key for key in words.causes if key not in left_out)]
        fixed = {key: jobs / USUAL for key, jobs in listed["weekly"].items()}
        parts = [1 / (rank + _RANKS_BEFORE) for rank in range(len(ranked))]
        scale = (1 - sum(fixed.values())) / sum(parts)
        shares = {key: part * scale for key, part in zip(ranked, parts, strict=True)}
        self.shares = {**shares, **fixed}
        self._platforms = {key: self._suited(key) for key in self.shares}

    def _suited(self, cause: str) -> tuple[Sequence[Platform], Sequence[float]]:
        rows = [row for row in self._plan.platforms if self.suits(cause, row.engine)]
        return rows, tuple(accumulate(row.share for row in rows))

    def suits(self, cause: str, engine: str) -> bool:
        """Say whether a vehicle with that engine can have that cause at all."""
        rules, runs_on = self._plan.tables["vehicles"], engine[-1]
        if any(runs_on in row["engines"] for row in self._named(rules["not_in"], cause)):
            return False
        return all(runs_on in row["engines"] for row in self._named(rules["only_in"], cause))

    def _named(self, rules: Iterable[Table], cause: str) -> list[Table]:
        system = self._words.causes[cause].system
        return [
            row
            for row in rules
            if cause in row.get("causes", ()) or system in row.get("systems", ())
        ]

    def season(self, cause: str, week: IsoWeek) -> float:
        """Return what the time of the year multiplies the jobs of a cause by."""
        swings = self._plan.tables["season"]
        row = swings.get(cause) or swings.get(self._words.causes[cause].system)
        if row is None:
            return 1.0
        number = week.monday.isocalendar().week
        return float(1 + row["swing"] * math.cos(2 * math.pi * (number - row["top"]) / _WEEKS))

    def open_days(self, week: IsoWeek) -> float:
        """Return the part of the usual jobs that a week has: less than 1 with holidays."""
        holidays = self._plan.tables["volume"]["holidays"]
        return float(holidays.get(str(week.monday.isocalendar().week), 1.0))

    def causes(self, rng: Random, *, week: IsoWeek, jobs: int) -> list[str]:
        """Return what is wrong with each of the jobs of a week."""
        weights = [share * self.season(key, week) for key, share in self.shares.items()]
        return rng.choices(list(self.shares), weights, k=jobs)

    def platform(self, rng: Random, cause: str) -> Platform:
        """Return a vehicle that comes with a cause."""
        rows, sums = self._platforms[cause]
        return rng.choices(rows, cum_weights=sums)[0]
