"""What the time of the year does to a system's jobs, learned from all causes of the system at once.

A single cause has too few jobs to tell its season from luck; corrected by its own last year it
raises more false alarms than without. A system has enough.
"""

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Weeks of a mean year of the calendar.
YEAR: Final = 365.2425 / 7
# Our choice: under 60 weeks of jobs the season is not known.
LEAST_WEEKS: Final = 60
# Our choice: a prior deviation of .5 on both waves, as if most seasons stay within ± 60 %.
_RIDGE: Final = np.diag([0.0, 4.0, 4.0])
_ROUNDS: Final = 12
_STEP: Final = 1.0


def waves(weeks: int) -> Floats:
    """Return the columns 1, sine and cosine of the year, shape (weeks, 3), the last week at 0."""
    turn = 2 * np.pi * np.arange(1 - weeks, 1) / YEAR
    return np.column_stack([np.ones(weeks), np.sin(turn), np.cos(turn)])


def fit_seasons(totals: Floats, exposure: Floats) -> Floats:
    """Return the coefficients, shape (groups, 3), of each group's weekly totals.

    ``ln mu = b0 + b1 sin(2 pi t / year) + b2 cos(2 pi t / year) + ln exposure``, Poisson, by
    Newton's steps, with a ridge on b1 and b2. A group without any event has no season: zeros.

    Parameters
    ----------
    totals : (groups, weeks)
        Events a week, the newest last.
    exposure : (weeks,)
        Jobs a week; weeks of 0 count for nothing.

    References
    ----------
    McCullagh & Nelder (1989), Generalized linear models, chapter 6 (from memory).
    """
    design = waves(totals.shape[1])
    sums = totals.sum(axis=1)
    coefficients = np.zeros((len(totals), 3))
    some = sums > 0
    events = totals[some]
    fitted = np.zeros((len(events), 3))
    fitted[:, 0] = np.log(sums[some] / exposure.sum())
    pairs = design[:, :, None] * design[:, None, :]
    for _ in range(_ROUNDS):
        mean = exposure * np.exp(fitted @ design.T)
        gradient = (events - mean) @ design - fitted @ _RIDGE
        curvature = np.tensordot(mean, pairs, axes=1) + _RIDGE
        step = np.linalg.solve(curvature, gradient[:, :, None])[:, :, 0]
        fitted += np.clip(step, -_STEP, _STEP)
    coefficients[some] = fitted
    return coefficients


def season_factors(totals: Floats, exposure: Floats, *, recent: int, before: int) -> Floats | None:
    """Return how many times the events before each group expects now, a job, by its season alone.

    The mean fitted rate of the last ``recent`` weeks over that of the ``before`` weeks before
    them, both weighed by exposure, shape (groups,). The recent weeks are left out of the fit, so
    that a rise does not pass for its own season. None where fewer than 60 weeks have jobs: the
    season is not known.
    """
    if np.count_nonzero(exposure) < LEAST_WEEKS:
        return None
    now, then = slice(-recent, None), slice(-recent - before, -recent)
    if exposure[now].sum() == 0 or exposure[then].sum() == 0:
        return None
    past, jobs = totals.copy(), exposure.copy()
    past[:, now], jobs[now] = 0.0, 0.0
    rate = np.exp(fit_seasons(past, jobs)[:, 1:] @ waves(len(jobs))[:, 1:].T)
    mean_now = rate[:, now] @ exposure[now] / exposure[now].sum()
    mean_then = rate[:, then] @ exposure[then] / exposure[then].sum()
    return np.asarray(mean_now / mean_then, np.float64)


def seasons_of(
    totals: Mapping[str, Sequence[int]], exposure: Sequence[float], *, recent: int, before: int
) -> dict[str, float | None]:
    """Return ``season_factors`` of some systems by name; None where the season is not known."""
    rows = np.array(list(totals.values()), np.float64).reshape(len(totals), len(exposure))
    found = season_factors(rows, np.array(exposure, np.float64), recent=recent, before=before)
    known = [None] * len(totals) if found is None else [float(factor) for factor in found]
    return dict(zip(totals, known, strict=True))


def season_factor(
    totals: Sequence[int], exposure: Sequence[float], *, recent: int = 8, before: int = 104
) -> float | None:
    """Return ``season_factors`` of one system; None where its season is not known.

    Raises
    ------
    ValueError
        Where totals and exposure differ in length.
    """
    if len(totals) != len(exposure):
        raise ValueError(f"expected one total for each of {len(exposure)} weeks, got {len(totals)}")
    rows, jobs = np.array([totals], np.float64), np.array(exposure, np.float64)
    found = season_factors(rows, jobs, recent=recent, before=before)
    return None if found is None else float(found[0])
