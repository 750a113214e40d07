"""What comes up more often than it used to: the one rule of the weekly review, and of its trial.

Exposure is recorded cases, so that a person who records more, or a week of holidays, raises
nothing by itself. Causes are held against their past first, pairs of a vehicle and a cause only
within the causes that lean upward: ``worth_splitting``, then ``find_trends`` with ``PAIRS``.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.diagnosis.arrivals import Counted, Series, Windows, count_windows
from kb.diagnosis.discoveries import found
from kb.diagnosis.rates import predictive_tails, ratio_limits

Floats = NDArray[np.float64]

ALERT: Final = "alert"
WATCH: Final = "watch"
QUIET: Final = ""
_ORDER: Final = (QUIET, WATCH, ALERT)
# Our choice: a level is news when none of the previous 8 reviews had it.
NEWS_WEEKS: Final = 8
# Stands for no jobs at all where something is divided by them; such a row is not judged.
_NO_JOBS: Final = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """The numbers of the rule, all our choice, tried by ``tests.benchmarks.bench_week_rules``.

    ``watch`` is the p below which a row is watched; ``strength`` how many arrivals the mean of all
    rows counts as; ``least`` how many arrivals, and vehicles, a flagged row has. ``q`` is the share
    by chance among the alerts: .15 finds a rise in two or three more shops of a hundred than .10,
    for about one false alert more in a year.
    """

    windows: Windows = field(default_factory=Windows)
    watch: float = 0.005
    q: float = 0.15
    strength: float = 1.0
    least: int = 3


CAUSES: Final = Rule()
PAIRS: Final = replace(CAUSES, watch=0.001)
# Our choice: nine in ten of the pairs that go from .1 to 1 a week and are watched without this gate
# pass it, and a third or more of the false watches does not.
LEAN: Final = 0.2


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """One series against its past.

    ``recent`` and ``before`` are arrivals in both windows of the rule; ``expected`` arrivals in the
    recent weeks, had nothing changed; ``ratio`` recent over expected with its 95 % interval; ``p``
    the chance of as many by luck. All that is judged is None where there is too little to tell
    from. ``season`` is what the time of the year multiplies by, None: not known.
    ``new``: no review of the previous 8 had this level or a higher one.
    """

    key: str
    recent: int
    before: int
    expected: float | None
    ratio: float | None
    ratio_low: float | None
    ratio_high: float | None
    p: float | None
    level: str
    season: float | None
    new: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class _Judged:
    """What the past leads to expect of each row, and how far off the recent weeks are, (n,)."""

    expected: Floats
    ratio: Floats
    low: Floats
    high: Floats
    p: Floats
    reachable: Floats


def _judged(counted: Counted, strength: float) -> _Judged:
    """Return the gamma distribution of each row's past, held against its recent weeks."""
    season = 1.0 if counted.season is None else counted.season
    jobs = np.maximum(counted.recent_jobs * season, _NO_JOBS)
    size = counted.before + strength
    weight = strength / counted.usual + counted.before_jobs
    # Were all arrivals of both windows recent ones: no p of this row could be less.
    most, none = counted.before + counted.recent, np.full(len(size), strength)
    reachable = predictive_tails(most, size=none, weight=weight, exposure=jobs)
    low, high = ratio_limits(counted.recent, size)
    expected = size / weight * jobs
    return _Judged(
        expected=expected,
        ratio=counted.recent / expected,
        low=low * weight / jobs,
        high=high * weight / jobs,
        p=predictive_tails(counted.recent, size=size, weight=weight, exposure=jobs),
        reachable=reachable,
    )


def _levels(counted: Counted, judged: _Judged, rule: Rule) -> list[str]:
    """Return the level of each row."""
    alert = found(judged.p, reachable=np.where(counted.enough, judged.reachable, 1.0), q=rule.q)
    seen = counted.enough & (np.minimum(counted.recent, counted.vehicles) >= rule.least)
    # Among a few rows Benjamini and Hochberg ask for less than a watch does; an alert is both.
    watch = seen & (judged.p < rule.watch)
    return [_ORDER[number] for number in np.where(watch & alert, 2, np.where(watch, 1, 0))]


def _trends(
    series: Sequence[Series],
    counted: Counted,
    judged: _Judged,
    *,
    levels: Sequence[str],
    past: Mapping[str, str],
) -> Iterator[Trend]:
    """Yield the rows as values; ``past`` are the highest levels that they had lately."""
    none = [None] * len(series)
    # As lists: taking thousands of numbers out of arrays one by one takes most of the time.
    season = none if counted.season is None else counted.season.tolist()
    columns = (judged.expected, judged.ratio, judged.low, judged.high, judged.p)
    told = zip(*(column.tolist() for column in columns), strict=True)
    counts = zip(counted.recent.tolist(), counted.before.tolist(), strict=True)
    enough = counted.enough.tolist()
    for at, (row, numbers, (recent, before)) in enumerate(zip(series, told, counts, strict=True)):
        expected, ratio, low, high, p = numbers if enough[at] else none[:1] * len(columns)
        yield Trend(
            key=row.key,
            recent=int(recent),
            before=int(before),
            expected=expected,
            ratio=ratio,
            ratio_low=low,
            ratio_high=high,
            p=p,
            level=levels[at],
            season=season[at],
            new=_ORDER.index(levels[at]) > _ORDER.index(past.get(row.key, QUIET)),
        )


def find_trends(
    series: Sequence[Series],
    exposure: Sequence[float],
    totals: Mapping[str, Sequence[int]] | None = None,
    *,
    flagged: Mapping[str, str] | None = None,
    rule: Rule = CAUSES,
) -> tuple[Trend, ...]:
    """Return every series against its past, in the order given.

    The rate before is a gamma distribution: ``strength`` arrivals at the usual rate and those of
    the weeks before. p is the chance that it brings as many arrivals as the recent weeks had, with
    as many jobs and at this time of the year. Watched: p under ``rule.watch``. Alert: found too by
    Benjamini and Hochberg among all rows whose totals could show anything.

    Parameters
    ----------
    series : (n,)
    exposure : (weeks,)
        Recorded cases a week of the whole shop, oldest first, the newest week last.
    totals : mapping of group to (weeks,), optional
        Arrivals of each whole system, from which its season is learned; by default those of the
        series given.
    flagged : mapping of key to level, optional
        The highest level of the previous reviews, as ``flagged_before`` gives it.

    Raises
    ------
    ValueError
        Where a series does not have one number for each week.
    """
    if not series:
        return ()
    counted = count_windows(series, exposure, totals=totals, windows=rule.windows)
    judged = _judged(counted, rule.strength)
    levels = _levels(counted, judged, rule)
    return tuple(_trends(series, counted, judged, levels=levels, past=flagged or {}))


def _ago(row: Series, weeks: int) -> Series:
    """Return the series as it stood so many weeks ago; its vehicles of then are not known."""
    own = None if row.exposure is None else row.exposure[:-weeks]
    return replace(row, weekly=row.weekly[:-weeks], vehicles=None, exposure=own)


def flagged_before(
    series: Sequence[Series],
    exposure: Sequence[float],
    totals: Mapping[str, Sequence[int]] | None = None,
    *,
    rule: Rule = CAUSES,
    reviews: int = NEWS_WEEKS,
) -> dict[str, str]:
    """Return the highest level that each flagged series had in the reviews before this one.

    The rule itself run on the weeks as they stood; for shops that keep no past reviews.
    """
    highest: dict[str, str] = {}
    for weeks in range(1, min(reviews, len(exposure) - 1) + 1):
        then = [_ago(row, weeks) for row in series]
        sums = None if totals is None else {name: row[:-weeks] for name, row in totals.items()}
        for trend in find_trends(then, exposure[:-weeks], sums, rule=rule):
            if _ORDER.index(trend.level) > _ORDER.index(highest.get(trend.key, QUIET)):
                highest[trend.key] = trend.level
    return highest


def worth_splitting(trends: Sequence[Trend], *, lean: float = LEAN) -> frozenset[str]:
    """Return the keys of the causes whose pairs with a vehicle are looked at: p below ``lean``.

    A rise of one pair alone shows in its cause weakly, so that the gate is wider than a watch.
    """
    return frozenset(row.key for row in trends if row.p is not None and row.p < lean)
