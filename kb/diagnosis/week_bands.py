"""What each week of a trend was to bring, and the most that luck brings: the band of its chart."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from scipy import stats

from kb.diagnosis.season import LEAST_WEEKS, fit_seasons, waves

# As ``kb.diagnosis.rates.chart_limits``: three standard deviations from 9 expected on, the exact
# Poisson limit of the same chance below.
_SIGMAS: Final = 3.0
_BEYOND: Final = 0.00135
_NORMAL_FROM: Final = 9.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WeekBand:
    """One week; ``expected`` and ``upper`` are None where no job was recorded in it."""

    expected: float | None
    upper: float | None


def week_bands(
    expected: float,
    exposure: Sequence[float],
    totals: Sequence[int],
    *,
    recent: int,
    shown: int,
) -> tuple[WeekBand, ...]:
    """Return the band of the last ``shown`` weeks, the newest last.

    ``expected`` of the ``recent`` weeks together is laid over all weeks in proportion to their
    jobs, times the season of the system where 60 weeks have jobs.

    Parameters
    ----------
    expected : float
        Arrivals in the recent weeks, had nothing changed.
    exposure, totals : (weeks,)
        Recorded cases of the shop and arrivals of the whole system, the newest week last.
    """
    jobs = np.array(exposure, np.float64)
    weight = jobs.copy()
    if np.count_nonzero(jobs) >= LEAST_WEEKS:
        # The recent weeks are left out, so that a rise does not pass for its own season.
        past, known = np.array([totals], np.float64), jobs.copy()
        past[:, -recent:], known[-recent:] = 0.0, 0.0
        wave = fit_seasons(past, known)[0, 1:] @ waves(len(jobs))[:, 1:].T
        weight *= np.exp(wave)
    base = weight[-recent:].sum()
    if base <= 0:
        return tuple(WeekBand(expected=None, upper=None) for _ in jobs[-shown:])
    mean = (weight * expected / base)[-shown:]
    exact = stats.poisson.isf(_BEYOND, mean)
    upper = np.where(mean >= _NORMAL_FROM, mean + _SIGMAS * np.sqrt(mean), exact)
    return tuple(
        WeekBand(expected=float(m) if j > 0 else None, upper=float(u) if j > 0 else None)
        for m, u, j in zip(mean, upper, jobs[-shown:], strict=True)
    )
