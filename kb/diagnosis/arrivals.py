"""Arrivals by week: what the recent weeks hold of each series, and the weeks before them.

An arrival is one day on which one model of vehicle came with one cause: eight vans of a fleet that
come in on two days are two arrivals.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.diagnosis.season import season_factors

Floats = NDArray[np.float64]

# Our choice: with less than half a year of jobs before the recent weeks there is too little to
# tell a rise from.
LEAST_HISTORY: Final = 26


@dataclass(frozen=True, slots=True, kw_only=True)
class Series:
    """Arrivals of one cause, or of one vehicle and cause, by week.

    Attributes
    ----------
    key, group : str
        What it is, and the system whose season it shares.
    weekly : tuple[int, ...]
        Arrivals of each week, oldest first, the newest week last.
    vehicles : int | None
        Distinct vehicles in the recent weeks; None where not known: as many as arrivals.
    exposure : tuple[float, ...] | None
        Jobs a week that could have been one of these, where not all (those of the same model).
    usual : float | None
        Arrivals a job to expect of such a row without a past, above 0; None: the mean of all rows.
    """

    key: str
    group: str
    weekly: tuple[int, ...]
    vehicles: int | None = None
    exposure: tuple[float, ...] | None = None
    usual: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Windows:
    """The recent weeks, and the weeks before them that they are held against.

    Both our choice, tried by ``tests.benchmarks.bench_week_rules``: two years before find a rise
    two to four percent more often than one year does, at no more false alarms. Where there are
    fewer weeks before, those that there are.
    """

    recent: int = 8
    before: int = 104

    def now(self) -> slice:
        """Return the recent weeks of a row of weeks."""
        return slice(-self.recent, None)

    def then(self) -> slice:
        """Return the weeks before the recent ones."""
        return slice(-self.recent - self.before, -self.recent)


@dataclass(frozen=True, slots=True, kw_only=True)
class Counted:
    """All series as arrays of shape (n,): what both windows hold, and what is usual.

    ``season`` is None where the season is not known; ``enough`` says where there is history to
    tell a rise from; ``vehicles`` is infinite where not known.
    """

    recent: Floats
    before: Floats
    recent_jobs: Floats
    before_jobs: Floats
    usual: Floats
    season: Floats | None
    enough: NDArray[np.bool_]
    vehicles: Floats


def _matrix(rows: Sequence[Sequence[float]], weeks: int) -> Floats:
    """Return the rows as an array of shape (n, weeks).

    Raises
    ------
    ValueError
        Where a row does not have a number for each week.
    """
    for row in rows:
        if len(row) != weeks:
            raise ValueError(f"expected a number for each of {weeks} weeks, got {len(row)}")
    return np.array(rows, np.float64).reshape(len(rows), weeks)


def _group_totals(
    series: Sequence[Series], arrivals: Floats, totals: Mapping[str, Sequence[int]] | None
) -> tuple[Floats, NDArray[np.intp]]:
    """Return the weekly totals, shape (groups, weeks), and at which of them each series lies."""
    names = sorted({row.group for row in series})
    place = {name: at for at, name in enumerate(names)}
    at = np.array([place[row.group] for row in series], np.intp)
    weeks = arrivals.shape[1]
    if totals is not None:
        return _matrix([totals[name] for name in names], weeks), at
    sums = np.zeros((len(names), weeks))
    np.add.at(sums, at, arrivals)
    return sums, at


def _jobs_of_each(series: Sequence[Series], jobs: Floats) -> Floats:
    """Return the exposure of each series, shape (n, weeks)."""
    each = np.tile(jobs, (len(series), 1))
    for at, row in enumerate(series):
        if row.exposure is not None:
            each[at] = _matrix([row.exposure], len(jobs))[0]
    return each


def _usual(series: Sequence[Series], before: Floats, before_jobs: Floats) -> Floats:
    """Return the arrivals a job to expect of each series without a past, shape (n,)."""
    # Half an arrival at least, so that the mean of rows that never had one is a number.
    mean = max(before.sum(), 0.5) / max(before_jobs.sum(), 1.0)
    for row in series:
        if row.usual is not None and row.usual <= 0:
            raise ValueError(
                f"expected a usual above 0 for {row.key}, got {row.usual}; leave it out instead"
            )
    return np.array([mean if row.usual is None else row.usual for row in series])


def count_windows(
    series: Sequence[Series],
    exposure: Sequence[float],
    *,
    totals: Mapping[str, Sequence[int]] | None,
    windows: Windows,
) -> Counted:
    """Return the series counted in both windows.

    Raises
    ------
    ValueError
        Where a series, or the total of a group, does not have a number for each week, or the
        usual of a series is not above 0.
    """
    jobs = np.array(exposure, np.float64)
    arrivals = _matrix([row.weekly for row in series], len(jobs))
    each = _jobs_of_each(series, jobs)
    now, then = windows.now(), windows.then()
    sums, group = _group_totals(series, arrivals, totals)
    factors = season_factors(sums, jobs, recent=windows.recent, before=windows.before)
    before, before_jobs = arrivals[:, then].sum(axis=1), each[:, then].sum(axis=1)
    known = [np.inf if row.vehicles is None else row.vehicles for row in series]
    recent_jobs = each[:, now].sum(axis=1)
    return Counted(
        recent=arrivals[:, now].sum(axis=1),
        before=before,
        recent_jobs=recent_jobs,
        before_jobs=before_jobs,
        usual=_usual(series, before, before_jobs),
        season=None if factors is None else factors[group],
        # By the weeks of the whole shop: a model that is seldom in has a history all the same.
        enough=(np.count_nonzero(jobs[then]) >= LEAST_HISTORY) & (recent_jobs > 0),
        vehicles=np.array(known, np.float64),
    )
