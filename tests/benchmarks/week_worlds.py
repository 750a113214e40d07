"""Invented shops whose truth is known, and the weekly review run on them, for the rules' trial.

80 causes in 8 systems share the jobs of a week unequally (1 over rank + 4), 40 models share the
vehicles likewise; arrivals are Poisson. Seasons swing by system, each at a time of its own.
"""

from collections import deque
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.diagnosis.arrivals import Series
from kb.diagnosis.survival import kaplan_meier
from kb.diagnosis.trends import CAUSES, PAIRS, QUIET, Rule, Trend, find_trends, worth_splitting

Floats = NDArray[np.float64]
Counts = NDArray[np.int64]

N_CAUSES: Final = 80
N_MODELS: Final = 40
N_SYSTEMS: Final = 8
HISTORY: Final = 130
NEWS: Final = 8
GROUPS: Final = [f"system {at % N_SYSTEMS}" for at in range(N_CAUSES)]
RANK: Final = {QUIET: 0, "watch": 1, "alert": 2}


def unequal(n: int) -> Floats:
    """Return n shares that sum to 1, the first many times the last."""
    shares = 1 / (np.arange(n) + 5.0)
    return np.asarray(shares / shares.sum(), np.float64)


def seasons(rng: np.random.Generator, weeks: int, swing: float) -> Floats:
    """Return what the time of the year multiplies each cause by, shape (causes, weeks)."""
    phase = rng.uniform(0, 2 * np.pi) + 2 * np.pi * rng.permutation(N_SYSTEMS) / N_SYSTEMS
    turn = 2 * np.pi * np.arange(weeks) / 52
    wave = 1 + swing * np.sin(turn[None] + phase[:, None])
    return np.array([wave[at % N_SYSTEMS] for at in range(N_CAUSES)])


def cause_near(jobs: float, rate: float) -> int:
    """Return the cause that comes about ``rate`` times a week."""
    return int(np.abs(unequal(N_CAUSES) * jobs - rate).argmin())


def cause_rates(rng: np.random.Generator, *, jobs: float, weeks: int, swing: float) -> Floats:
    """Return the arrivals to expect of each cause in each week."""
    return jobs * unequal(N_CAUSES)[:, None] * seasons(rng, weeks, swing)


def as_series(counts: Counts, end: int) -> list[Series]:
    """Return the causes as they stand after ``end`` weeks."""
    return [
        Series(key=str(at), group=GROUPS[at], weekly=tuple(row))
        for at, row in enumerate(counts[:, :end].tolist())
    ]


@dataclass
class Reviews:
    """Weekly reviews of one shop, each with what the last 8 had flagged."""

    rule: Rule
    past: deque[dict[str, str]]

    @classmethod
    def of(cls, rule: Rule) -> "Reviews":
        return cls(rule, deque(maxlen=NEWS))

    def take(self, trends: tuple[Trend, ...]) -> None:
        """Keep what this review flagged."""
        self.past.append({row.key: row.level for row in trends if row.level != QUIET})

    def flagged(self) -> dict[str, str]:
        """Return the highest level of each key in the last 8 reviews."""
        highest: dict[str, str] = {}
        for review in self.past:
            for key, level in review.items():
                if RANK[level] > RANK[highest.get(key, QUIET)]:
                    highest[key] = level
        return highest

    def review(self, rows: list[Series], exposure: list[float]) -> tuple[Trend, ...]:
        """Return the trends of one week."""
        found = find_trends(rows, exposure, flagged=self.flagged(), rule=self.rule)
        self.take(found)
        return found


def new_a_week(
    counts: Counts,
    *,
    weeks: int,
    rule: Rule = CAUSES,
    exposure: list[float] | None = None,
) -> dict[str, float]:
    """Return the new watches and alerts a week over the last ``weeks`` reviews.

    Eight reviews before them fill what counts as known.
    """
    jobs = counts.sum(axis=0).tolist() if exposure is None else exposure
    reviews, news = Reviews.of(rule), {"watch": 0, "alert": 0}
    last = counts.shape[1]
    for end in range(last - weeks - NEWS + 1, last + 1):
        found = reviews.review(as_series(counts, end), jobs[:end])
        if end > last - weeks:
            for row in found:
                if row.new:
                    news[row.level] += 1
    return {level: number / weeks for level, number in news.items()}


def false_alarms(seed: int, *, jobs: float, swing: float, rule: Rule = CAUSES) -> dict[str, float]:
    """Return the new flags a week of a year in which nothing changed but the season."""
    rng = np.random.default_rng([seed, int(jobs), int(100 * swing)])
    rates = cause_rates(rng, jobs=jobs, weeks=HISTORY + 52, swing=swing)
    return new_a_week(rng.poisson(rates), weeks=52, rule=rule)


def found_after(
    seed: int, *, jobs: float, swing: float, rule: Rule = CAUSES, weeks: int = 13
) -> dict[str, int | None]:
    """Return after how many weeks a cause going from .4 to 1.6 a week was flagged; None: never."""
    rng = np.random.default_rng([seed, int(jobs), int(100 * swing), 1])
    season = seasons(rng, HISTORY + weeks, swing)
    rates = jobs * unequal(N_CAUSES)[:, None] * season
    rising = cause_near(jobs, 0.4)
    rates[rising] = 0.4 * season[rising]
    rates[rising, HISTORY:] *= 4
    counts = rng.poisson(rates)
    exposure = counts.sum(axis=0).tolist()
    first: dict[str, int | None] = {"watch": None, "alert": None}
    for week in range(1, weeks + 1):
        end = HISTORY + week
        level = find_trends(as_series(counts, end), exposure[:end], rule=rule)[rising].level
        for name, before in first.items():
            if before is None and RANK[level] >= RANK[name]:
                first[name] = week
        if first["alert"] is not None:
            break
    return first


@dataclass
class PairShop:
    """A shop whose arrivals are counted by model and cause, shape (models, causes, weeks)."""

    counts: Counts

    def causes(self, end: int) -> tuple[list[Series], list[float]]:
        """Return the causes and the jobs after ``end`` weeks."""
        counts = self.counts.sum(axis=0)
        return as_series(counts, end), counts[:, :end].sum(axis=0).tolist()

    def pairs(self, end: int, causes: frozenset[str]) -> list[Series]:
        """Return the pairs of those causes, each with what its margins lead to expect."""
        before = self.counts[:, :, end - 112 : end - 8].sum(axis=2)
        whole = max(1, int(before.sum()))
        rows = []
        for cause in sorted(map(int, causes)):
            for model in range(N_MODELS):
                margins = (before[model].sum() + 0.5) * (before[:, cause].sum() + 0.5)
                rows.append(
                    Series(
                        key=f"{model}/{cause}",
                        group=GROUPS[cause],
                        weekly=tuple(self.counts[model, cause, :end].tolist()),
                        usual=float(margins) / whole**2,
                    )
                )
        return rows

    def review(
        self, end: int, *, rule: Rule = PAIRS, lean: float | None = None
    ) -> tuple[Trend, ...]:
        """Return the trends of the pairs within the causes worth splitting."""
        rows, exposure = self.causes(end)
        totals: dict[str, list[int]] = {}
        for row in rows:
            sums = totals.get(row.group, [0] * end)
            totals[row.group] = [a + b for a, b in zip(sums, row.weekly, strict=True)]
        trends = find_trends(rows, exposure)
        keys = worth_splitting(trends) if lean is None else worth_splitting(trends, lean=lean)
        return find_trends(self.pairs(end, keys), exposure, totals, rule=rule)


def pair_shop(rng: np.random.Generator, *, jobs: float, weeks: int, swing: float = 0.0) -> Floats:
    """Return the arrivals to expect of each model and cause in each week."""
    rates = cause_rates(rng, jobs=jobs, weeks=weeks, swing=swing)
    return unequal(N_MODELS)[:, None, None] * rates[None]


def pair_alarms(seed: int, *, jobs: float, swing: float = 0.0, lean: float | None = None) -> float:
    """Return the new watches of pairs a week over 26 weeks in which nothing changed."""
    rng = np.random.default_rng([seed, int(jobs), int(100 * swing), 2])
    shop = PairShop(rng.poisson(pair_shop(rng, jobs=jobs, weeks=HISTORY + 34, swing=swing)))
    known: deque[set[str]] = deque(maxlen=NEWS)
    new = 0
    for week in range(34):
        found = shop.review(HISTORY + week + 1, lean=lean)
        flagged = {row.key for row in found if row.level != QUIET}
        if week >= NEWS:
            new += len(flagged - set().union(*known))
        known.append(flagged)
    return new / 26


def pair_found(seed: int, *, jobs: float, lean: float | None = None, weeks: int = 8) -> int | None:
    """Return after how many weeks a pair going from .1 to 1 a week was watched; None: never."""
    rng = np.random.default_rng([seed, int(jobs), 3])
    rates = pair_shop(rng, jobs=jobs, weeks=HISTORY + weeks)
    near = np.abs(rates[:, :, 0] - 0.1)
    model, cause = np.unravel_index(near.argmin(), near.shape)
    rates[model, cause, :HISTORY], rates[model, cause, HISTORY:] = 0.1, 1.0
    shop = PairShop(rng.poisson(rates))
    key = f"{model}/{cause}"
    for week in range(1, weeks + 1):
        found = shop.review(HISTORY + week, lean=lean)
        if any(row.key == key and row.level != QUIET for row in found):
            return week
    return None


def fleet_batch(seed: int, *, collapsed: bool, jobs: float = 50.0) -> bool:
    """Say whether 8 vans of one model within two days raise a flag in the next 8 weeks.

    The vans are 8 distinct vehicles; collapsed, they are 2 arrivals.
    """
    rng = np.random.default_rng([seed, int(jobs), 4])
    counts = rng.poisson(cause_rates(rng, jobs=jobs, weeks=HISTORY + 8, swing=0.0))
    batch = cause_near(jobs, 0.4)
    quiet = find_trends(as_series(counts, HISTORY), counts[:, :HISTORY].sum(axis=0).tolist())
    counts[batch, HISTORY] += 2 if collapsed else 8
    exposure = counts.sum(axis=0).tolist()
    for end in range(HISTORY + 1, HISTORY + 9):
        row = find_trends(as_series(counts, end), exposure[:end])[batch]
        if row.level != QUIET and quiet[batch].level == QUIET:
            return True
    return False


def more_recorded(seed: int, *, by_jobs: bool, jobs: float = 50.0) -> dict[str, float]:
    """Return the new flags a week after a new person doubled what is recorded, over 13 weeks."""
    rng = np.random.default_rng([seed, int(jobs), 5])
    rates = cause_rates(rng, jobs=jobs, weeks=HISTORY + 13, swing=0.0)
    rates[:, HISTORY:] *= 2
    counts = rng.poisson(rates)
    weeks = None if by_jobs else [jobs] * counts.shape[1]
    return new_a_week(counts, weeks=13, exposure=weeks)


def holidays(seed: int, *, by_jobs: bool, jobs: float = 50.0) -> dict[str, float]:
    """Return the new flags a week of a year whose history had 4 closed and 4 thin weeks a year."""
    rng = np.random.default_rng([seed, int(jobs), 6])
    rates = cause_rates(rng, jobs=jobs, weeks=HISTORY + 52, swing=0.0)
    at = np.arange(HISTORY + 52) % 52
    rates[:, at < 4] = 0.0
    rates[:, (at >= 26) & (at < 30)] *= 0.2
    counts = rng.poisson(rates)
    weeks = None if by_jobs else [jobs] * counts.shape[1]
    return new_a_week(counts, weeks=52, exposure=weeks)


def comebacks(seed: int, *, cars: int = 400) -> tuple[float, float]:
    """Return the share back within 90 days by the curve, and as a plain share; the truth is .2.

    Four in ten cars are last heard of on a day before the 90th, whether they hold or not.
    """
    rng = np.random.default_rng([seed, 7])
    fails = rng.exponential(90 / -np.log(0.8), cars)
    lost = rng.uniform(size=cars) < 0.4
    last = np.where(lost, rng.uniform(0, 90, cars), 120.0)
    days, failed = np.minimum(fails, last), fails <= last
    held = kaplan_meier(days.tolist(), failed.tolist()).held(90)
    assert held is not None
    return 1 - held.share, float((failed & (days <= 90)).mean())
