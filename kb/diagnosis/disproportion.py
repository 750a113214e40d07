"""Whether a kind of vehicle has a cause more often than the others: measures of a 2 by 2 table."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import optimize, special, stats

from kb.diagnosis.discoveries import found
from kb.diagnosis.measure import Z95

Floats = NDArray[np.float64]

FIRM: Final = "firm"
LOOK: Final = "look"
# Our choices: a pair is named from 3 cases on; by Fisher's exact p it is worth a look.
LEAST_CASES: Final = 3
LOOK_P: Final = 0.001
# Our choice: a mixture is fitted on no fewer cells.
LEAST_CELLS: Final = 500
_TAIL: Final = 0.025
_HALF: Final = 0.5
_IN_TEN: Final = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """Cases counted by a group of vehicles and by a cause."""

    both: int
    group_only: int
    cause_only: int
    neither: int

    @property
    def total(self) -> int:
        """All cases."""
        return self.both + self.group_only + self.cause_only + self.neither

    @property
    def expected(self) -> float | None:
        """Cases of both, had the group the cause as often as all have; None of no cases."""
        if not self.total:
            return None
        return (self.both + self.group_only) * (self.both + self.cause_only) / self.total


@dataclass(frozen=True, slots=True, kw_only=True)
class Ratio:
    """A ratio with its 95 % interval."""

    ratio: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Mixture:
    """Two gamma distributions of the ratio of cases to expected cases; ``weight`` of the first."""

    shape: float
    rate: float
    other_shape: float
    other_rate: float
    weight: float


# Our choice, until there are cells enough: a ratio of 1, as if 2 cases of 2 expected were seen.
FIXED: Final = Mixture(shape=2.0, rate=2.0, other_shape=2.0, other_rate=2.0, weight=1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Shrunk:
    """A ratio drawn toward 1 the more, the fewer cases stand behind it; its 90 % interval."""

    mean: float
    low: float
    high: float


def reporting_ratio(cell: Cell) -> float | None:
    """Return the share with the cause in the group over that in the rest (PRR), None without one.

    References
    ----------
    Evans, Waller & Davis (2001), Use of proportional reporting ratios for signal generation
    (from memory).
    """
    group, rest = cell.both + cell.group_only, cell.cause_only + cell.neither
    if not group or not cell.cause_only:
        return None
    return cell.both / group / (cell.cause_only / rest)


def odds_ratio(cell: Cell) -> Ratio | None:
    """Return the odds ratio (ROR) with ``exp(ln ± 1.96 sqrt(sum of 1/n))``; None with an empty cell.

    References
    ----------
    Woolf (1955), On estimating the relation between blood group and disease (from memory).
    """
    counts = (cell.both, cell.group_only, cell.cause_only, cell.neither)
    if not all(counts):
        return None
    log = math.log(cell.both * cell.neither / (cell.group_only * cell.cause_only))
    half = Z95 * math.sqrt(sum(1 / count for count in counts))
    return Ratio(ratio=math.exp(log), low=math.exp(log - half), high=math.exp(log + half))


def chi_square(cell: Cell) -> float | None:
    """Return Pearson's statistic without a correction; None where a margin is empty."""
    table = np.array([[cell.both, cell.group_only], [cell.cause_only, cell.neither]])
    if not (table.sum(axis=0).all() and table.sum(axis=1).all()):
        return None
    return float(stats.chi2_contingency(table, correction=False).statistic)


def information_component(cases: float, expected: float) -> Ratio:
    """Return ``log2((O + .5) / (E + .5))`` with its 95 % interval by the gamma distribution.

    A low end above 0 is more than expected, however few the cases.

    References
    ----------
    Norén, Hopstadius & Bate (2013), Shrinkage observed-to-expected ratios for robust and
    transparent large-scale pattern discovery (from memory).

    Examples
    --------
    >>> round(information_component(12, 5).low, 4)
    0.2542
    """
    below = expected + _HALF
    low, high = stats.gamma.ppf([_TAIL, 1 - _TAIL], cases + _HALF)
    return Ratio(
        ratio=math.log2((cases + _HALF) / below),
        low=math.log2(low / below),
        high=math.log2(high / below),
    )


def _log_chances(cases: Floats, expected: Floats, prior: Mixture) -> tuple[Floats, Floats]:
    """Return the log chance of the cases under each half of the mixture, weights included."""
    first = stats.nbinom.logpmf(cases, prior.shape, prior.rate / (prior.rate + expected))
    other = stats.nbinom.logpmf(
        cases, prior.other_shape, prior.other_rate / (prior.other_rate + expected)
    )
    with np.errstate(divide="ignore"):
        return first + np.log(prior.weight), other + np.log(1 - prior.weight)


def shrunken_ratio(cases: int, expected: float, prior: Mixture = FIXED) -> Shrunk:
    """Return the geometric mean of the ratio and its quantiles at .05 and .95 (EBGM, EB05, EB95).

    References
    ----------
    DuMouchel (1999), Bayesian data mining in large frequency tables (from memory).

    Examples
    --------
    >>> round(shrunken_ratio(6, 1.0).mean, 2)
    2.5
    """
    one, two = _log_chances(np.array([float(cases)]), np.array([expected]), prior)
    share = float(special.expit(one[0] - two[0]))
    shapes = np.array([prior.shape, prior.other_shape]) + cases
    rates = np.array([prior.rate, prior.other_rate]) + expected
    weights = np.array([share, 1 - share])
    logs = special.digamma(shapes) - np.log(rates)

    def quantile(at: float) -> float:
        ends = stats.gamma.ppf(at, shapes, scale=1 / rates)

        def beyond(ratio: float) -> float:
            return float(weights @ stats.gamma.cdf(ratio, shapes, scale=1 / rates)) - at

        # The quantile of the mixture lies between those of its halves.
        low, high = float(ends.min()) * (1 - 1e-9), float(ends.max()) * (1 + 1e-9)
        return float(optimize.brentq(beyond, low, high))

    return Shrunk(
        mean=math.exp(float(weights @ logs)), low=quantile(_IN_TEN), high=quantile(1 - _IN_TEN)
    )


def fit_prior(cases: Sequence[int], expected: Sequence[float]) -> Mixture:
    """Return the mixture that makes the cells likeliest; ``FIXED`` below 500 cells.

    Parameters
    ----------
    cases, expected : (n,)
        Of every cell of the table, those without a case too.
    """
    if len(cases) < LEAST_CELLS:
        return FIXED
    seen, due = np.array(cases, np.float64), np.array(expected, np.float64)

    def mixture(at: Floats) -> Mixture:
        shape, rate, other_shape, other_rate = np.exp(at[:4]).tolist()
        return Mixture(
            shape=shape,
            rate=rate,
            other_shape=other_shape,
            other_rate=other_rate,
            weight=float(special.expit(at[4])),
        )

    def surprise(at: Floats) -> float:
        return -float(np.logaddexp(*_log_chances(seen, due, mixture(at))).sum())

    # A start with rare high ratios beside a mass around 1; our choice, as are the bounds.
    start = np.array([*np.log([0.5, 0.2, 2.0, 2.0]), special.logit(0.1)])
    bounds = [(-5.0, 5.0)] * 4 + [(-7.0, 7.0)]
    return mixture(optimize.minimize(surprise, start, method="L-BFGS-B", bounds=bounds).x)


def chance_of_more(cell: Cell) -> float:
    """Return the chance of as many cases of both or more, by the margins alone.

    References
    ----------
    Fisher (1935), the exact test, one-sided (from memory).
    """
    group, cause = cell.both + cell.group_only, cell.both + cell.cause_only
    return float(stats.hypergeom.sf(cell.both - 1, cell.total, group, cause))


def least_chance(cell: Cell) -> float:
    """Return the least that ``chance_of_more`` can be with the margins of this cell."""
    group, cause = cell.both + cell.group_only, cell.both + cell.cause_only
    return float(stats.hypergeom.sf(min(group, cause) - 1, cell.total, group, cause))


def mark(cells: Sequence[Cell]) -> tuple[str, ...]:
    """Return for every cell whether it is ``firm``, worth a ``look``, or neither.

    All cells of the table belong in, the dull ones too: firm is what is found by Benjamini and
    Hochberg among those whose margins could show anything.
    """
    p = np.array([chance_of_more(cell) for cell in cells])
    firm = found(p, reachable=np.array([least_chance(cell) for cell in cells]))
    enough = np.array([cell.both >= LEAST_CASES for cell in cells], np.bool_)
    look = enough & (p < LOOK_P)
    return tuple(
        FIRM if enough[at] and firm[at] else LOOK if look[at] else "" for at in range(len(cells))
    )
