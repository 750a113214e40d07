"""Small counts held against each other: exact intervals and tests of shares and of rates.

An exposure is whatever the count could have happened in: jobs, weeks, cars. Wilson's interval of
a share is ``kb.diagnosis.measure.wilson_interval``.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, stats

Floats = NDArray[np.float64]

LEVEL: Final = 0.95
# Our choice: two shares are compared from 10 of each on. With fewer, Fisher's test sees 30 %
# against 5 % in less than a quarter of the cases, so silence would say nothing.
ENOUGH_EACH: Final = 10
# Shewhart's limits: three standard deviations, 0.135 % on each side of a normal distribution.
_SIGMAS: Final = 3.0
_BEYOND_SIGMAS: Final = 0.00135
# Our choice: below 9 expected the normal limits cry wolf up to twenty times too often.
_NORMAL_FROM: Final = 9.0
# Our choice: shops' shares scatter no less than 200 jobs would, no more than 2 jobs would.
_STRENGTHS: Final = (2.0, 200.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class RateRatio:
    """How many times one rate is the other, with its interval.

    ``ratio`` is None where neither happened, infinite where only the second never did.
    """

    ratio: float | None
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A share with its interval."""

    share: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartLimits:
    """The band of a chart of events per unit of exposure; outside of it is a signal."""

    centre: float
    low: float
    high: float


def exact_interval(count: int, of: int, level: float = LEVEL) -> tuple[float, float]:
    """Return the exact interval of a share, 0 to 1 where there is nothing to tell it from.

    References
    ----------
    Clopper & Pearson (1934), The use of confidence or fiducial limits (from memory).

    Examples
    --------
    >>> tuple(round(x, 3) for x in exact_interval(0, 10))
    (0.0, 0.308)
    """
    if of == 0:
        return 0.0, 1.0
    found = stats.binomtest(count, of).proportion_ci(confidence_level=level, method="exact")
    return float(found.low), float(found.high)


def two_rate_p(
    recent: int, before: int, *, recent_exposure: float, before_exposure: float
) -> float:
    """Return the chance of ``recent`` or more of all events, were both rates the same.

    ``P(X >= k)`` with X binomial over ``recent + before`` and the recent share of the exposure;
    one-sided, so that 0 recent events give 1.

    References
    ----------
    Przyborowski & Wilenski (1940), Homogeneity of results in testing samples from Poisson series
    (from memory).

    Examples
    --------
    >>> f"{two_rate_p(9, 14, recent_exposure=4, before_exposure=48):.2e}"
    '2.84e-05'
    """
    share = recent_exposure / (recent_exposure + before_exposure)
    return float(stats.binom.sf(recent - 1, recent + before, share))


def predictive_tails(
    recent: Floats, *, size: Floats, weight: Floats, exposure: Floats | float
) -> Floats:
    """Return ``P(X >= recent)``, all of shape (n,), for rates drawn from Gamma(size, weight).

    X is negative binomial: Poisson over ``exposure`` with a rate that is not known, only drawn
    from a gamma distribution of mean ``size / weight``.
    """
    tails = stats.nbinom.sf(recent - 1, size, weight / (weight + exposure))
    return np.asarray(tails, np.float64)


def predictive_p(
    recent: int,
    before: int,
    *,
    recent_exposure: float,
    before_exposure: float,
    mean: float,
    strength: float = 1.0,
) -> float:
    """Return the chance of ``recent`` or more, foretold from what was before.

    The rate before is drawn from Gamma(strength + before, strength / mean + before_exposure), so
    that a row without a past counts as ``strength`` events at the rate ``mean`` of its kind.
    Where a season is known, give ``recent_exposure`` times its factor.

    References
    ----------
    Gelman et al. (2013), Bayesian data analysis, section 2.6, the Poisson model (from memory).

    Examples
    --------
    >>> p = predictive_p(5, 14, recent_exposure=1, before_exposure=48, mean=1e9, strength=0.5)
    >>> f"{p:.1e}"
    '2.8e-05'
    """
    tails = predictive_tails(
        np.array([float(recent)]),
        size=np.array([strength + before]),
        weight=np.array([strength / mean + before_exposure]),
        exposure=recent_exposure,
    )
    return float(tails[0])


def ratio_limits(first: Floats, second: Floats, *, level: float = LEVEL) -> tuple[Floats, Floats]:
    """Return the exact limits of the odds of two Poisson means, from their counts of shape (n,).

    Given the sum, the first is binomial; its exact limits are quantiles of the beta distribution,
    which counts that are no whole numbers have too.
    """
    tail = (1 - level) / 2
    low = np.where(first > 0, stats.beta.ppf(tail, np.maximum(first, 1e-9), second + 1), 0.0)
    high = np.where(second > 0, stats.beta.ppf(1 - tail, first + 1, np.maximum(second, 1e-9)), 1.0)
    with np.errstate(divide="ignore"):
        return low / (1 - low), high / (1 - high)


def rate_ratio(
    first: int, second: int, *, first_exposure: float, second_exposure: float
) -> RateRatio:
    """Return how many times the second rate the first one is, with its exact interval.

    References
    ----------
    R Core Team, ``poisson.test`` for two samples: the same interval (from memory).

    Examples
    --------
    >>> found = rate_ratio(11, 21, first_exposure=800, second_exposure=3011)
    >>> round(found.ratio, 6)
    1.971488
    """
    per = second_exposure / first_exposure
    low, high = ratio_limits(np.array([float(first)]), np.array([float(second)]))
    if second:
        ratio: float | None = first / second * per
    else:
        ratio = math.inf if first else None
    return RateRatio(ratio=ratio, low=float(low[0]) * per, high=float(high[0]) * per)


def poisson_limits(mean: float, alpha: float) -> tuple[int | None, int]:
    """Return the most that is too few and the fewest that are too many.

    Each happens with a chance of at most ``alpha``; None where even none at all is not too few.

    Examples
    --------
    >>> poisson_limits(1.0, 0.00135)
    (None, 6)
    """
    many = int(stats.poisson.isf(alpha, mean)) + 1
    few = int(stats.poisson.ppf(alpha, mean))
    while few >= 0 and stats.poisson.cdf(few, mean) > alpha:
        few -= 1
    return (few if few >= 0 else None), many


def chart_limits(rate: float, exposure: float) -> ChartLimits:
    """Return the band of a u-chart for one point of ``exposure`` around the common ``rate``.

    ``rate ± 3 sqrt(rate / exposure)`` from 9 expected events on, the exact Poisson limits below.

    References
    ----------
    Shewhart's u-chart as in Montgomery, Introduction to statistical quality control (from memory).

    Examples
    --------
    >>> chart_limits(0.05, 20).high
    0.25
    """
    mean = rate * exposure
    if mean >= _NORMAL_FROM:
        half = _SIGMAS * math.sqrt(rate / exposure)
        return ChartLimits(centre=rate, low=max(0.0, rate - half), high=rate + half)
    few, many = poisson_limits(mean, _BEYOND_SIGMAS)
    low = 0.0 if few is None else (few + 1) / exposure
    return ChartLimits(centre=rate, low=low, high=(many - 1) / exposure)


def difference_test(
    first: tuple[int, int], second: tuple[int, int], *, least: int = ENOUGH_EACH
) -> float | None:
    """Return the two-sided p of Fisher's exact test for two shares, each ``(count, of)``.

    None where either has fewer than ``least``: too few to tell.

    Examples
    --------
    >>> round(difference_test((8, 20), (1, 20)), 4)
    0.0197
    >>> difference_test((8, 9), (1, 20)) is None
    True
    """
    if min(first[1], second[1]) < least:
        return None
    table = [[count, of - count] for count, of in (first, second)]
    return float(stats.fisher_exact(table).pvalue)


def _common_strength(counts: Floats, ofs: Floats, mean: float) -> float:
    """Return the strength of a beta prior around ``mean`` that makes the counts likeliest."""

    def surprise(log_strength: float) -> float:
        strength = math.exp(log_strength)
        rows = stats.betabinom.logpmf(counts, ofs, mean * strength, (1 - mean) * strength)
        return -float(rows.sum())

    low, high = (math.log(limit) for limit in _STRENGTHS)
    return math.exp(optimize.minimize_scalar(surprise, bounds=(low, high), method="bounded").x)


def shrunken_shares(
    counts: Sequence[int], ofs: Sequence[int], *, level: float = LEVEL
) -> tuple[Share, ...]:
    """Return the shares drawn toward the common one, the fewer stand behind each the more.

    Beta-binomial: the common share is that of all together, the strength of the pull the one that
    makes the counts likeliest, between 2 and 200.

    References
    ----------
    Gelman et al. (2013), Bayesian data analysis, section 5.3 (from memory).
    """
    if not counts or sum(ofs) == 0:
        return ()
    k, n = np.array(counts, np.float64), np.array(ofs, np.float64)
    # Half a count on each side, so that no share is certain.
    mean = float((k.sum() + 0.5) / (n.sum() + 1))
    strength = _common_strength(k, n, mean)
    yes, no = k + mean * strength, n - k + (1 - mean) * strength
    low, high = stats.beta.ppf([[(1 - level) / 2], [(1 + level) / 2]], yes, no)
    return tuple(
        Share(share=float(share), low=float(a), high=float(b))
        for share, a, b in zip(yes / (yes + no), low, high, strict=True)
    )
