"""How long repairs hold: the share still holding after so many days, and what it leaves open.

A car that did not come back counts up to the day it was last heard of, not as one that holds.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import optimize

from kb.diagnosis.measure import Z95

Floats = NDArray[np.float64]

# Our choice: fewer cars than this say nothing about a day.
LEAST_AT_RISK: Final = 5
# Our choice, as trade practice has it: a life is not fitted on fewer failures.
LEAST_FAILURES: Final = 5
# A failure on the day of the repair lies somewhere within that day.
_SAME_DAY: Final = 0.5
# Shapes outside never come up in mechanical wear; one that runs there has no maximum.
_SHAPES: Final = (0.05, 50.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """The share that still holds after a number of days, with its 95 % interval."""

    share: float
    low: float
    high: float
    at_risk: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Survival:
    """The Kaplan-Meier curve, one entry for each day on which something failed.

    ``low`` and ``high`` hold None where nothing is left and so no interval exists; ``followed``
    holds the days of all, failed or not, in order.
    """

    times: tuple[float, ...]
    at_risk: tuple[int, ...]
    failures: tuple[int, ...]
    survival: tuple[float, ...]
    low: tuple[float | None, ...]
    high: tuple[float | None, ...]
    followed: tuple[float, ...]

    def number_at(self, day: float) -> int:
        """Return how many were followed to that day, and had not failed before it."""
        return sum(last >= day for last in self.followed)

    def shown(self, least: int = LEAST_AT_RISK) -> "Survival":
        """Return the curve up to where fewer than ``least`` are followed."""
        keep = sum(number >= least for number in self.at_risk)
        return Survival(
            times=self.times[:keep],
            at_risk=self.at_risk[:keep],
            failures=self.failures[:keep],
            survival=self.survival[:keep],
            low=self.low[:keep],
            high=self.high[:keep],
            followed=self.followed,
        )

    def held(self, day: float, least: int = LEAST_AT_RISK) -> Held | None:
        """Return the share that still holds after ``day``; None where fewer than ``least`` tell.

        Without a failure so far the low end is ``least_share`` of those still followed.
        """
        number, step = self.number_at(day), sum(time <= day for time in self.times)
        if number < least:
            return None
        if step == 0:
            return Held(share=1.0, low=least_share(number), high=1.0, at_risk=number)
        low, high = self.low[step - 1], self.high[step - 1]
        if low is None or high is None:
            return None
        return Held(share=self.survival[step - 1], low=low, high=high, at_risk=number)


@dataclass(frozen=True, slots=True, kw_only=True)
class Weibull:
    """A fitted life: ``shape`` under 1 fails early, 1 by chance, above 1 wears; scale in days."""

    shape: float
    scale: float

    def share_left(self, day: float) -> float:
        """Return the share that still holds after ``day``."""
        return math.exp(-((day / self.scale) ** self.shape))


def _checked(days: Sequence[float], failed: Sequence[bool]) -> tuple[Floats, NDArray[np.bool_]]:
    """Return both as arrays of shape (n,).

    Raises
    ------
    ValueError
        Where they differ in length or a day is negative or no number.
    """
    lasted, ended = np.array(days, np.float64), np.array(failed, np.bool_)
    if len(lasted) != len(ended):
        raise ValueError(f"expected as many failures as days, got {len(ended)} and {len(lasted)}")
    if not (np.isfinite(lasted) & (lasted >= 0)).all():
        raise ValueError(f"expected days of 0 or more, got {sorted(days)[:3]}")
    return lasted, ended


def _loglog(share: float, spread: float) -> tuple[float | None, float | None]:
    """Return the interval of a share from the spread of its logarithm; None where it is undefined.

    ``S ** exp(± z se / ln S)`` with ``se`` that of ln S: it never leaves 0 to 1.
    """
    if share <= 0:
        return None, None
    half = Z95 * math.sqrt(spread) / math.log(share)
    low, high = share ** math.exp(-half), share ** math.exp(half)
    return low, high


def kaplan_meier(days: Sequence[float], failed: Sequence[bool]) -> Survival:
    """Return the share that still holds by day, from cars that failed and cars last heard of.

    Parameters
    ----------
    days : (n,)
        Days from the repair to the comeback, or to the day the car was last heard of.
    failed : (n,)
        True where it came back.

    References
    ----------
    Kaplan & Meier (1958), Nonparametric estimation from incomplete observations; the interval by
    Greenwood (1926) on the log(-log) scale, Kalbfleisch & Prentice (from memory).

    Examples
    --------
    >>> kaplan_meier([10, 20, 30, 40], [True, False, True, False]).survival
    (0.75, 0.375)
    """
    lasted, ended = _checked(days, failed)
    times, failures = np.unique(lasted[ended], return_counts=True)
    at_risk = len(lasted) - np.searchsorted(np.sort(lasted), times, side="left")
    left = at_risk - failures
    survival = np.cumprod(left / at_risk) if len(times) else np.empty(0)
    with np.errstate(divide="ignore"):
        spread = np.cumsum(failures / (at_risk * left.astype(np.float64)))
    limits = [_loglog(float(s), float(v)) for s, v in zip(survival, spread, strict=True)]
    return Survival(
        times=tuple(times.tolist()),
        at_risk=tuple(at_risk.tolist()),
        failures=tuple(failures.tolist()),
        survival=tuple(survival.tolist()),
        low=tuple(low for low, _ in limits),
        high=tuple(high for _, high in limits),
        followed=tuple(np.sort(lasted).tolist()),
    )


def least_share(n: int, level: float = 0.95) -> float:
    """Return the least share that holds, where ``n`` were followed and none came back.

    ``(1 - level) ** (1 / n)``, the one-sided exact limit; 0 where none was followed.

    Examples
    --------
    >>> round(least_share(30), 2)
    0.9
    """
    return float((1 - level) ** (1 / n)) if n else 0.0


def weibull(
    days: Sequence[float], failed: Sequence[bool], *, least: int = LEAST_FAILURES
) -> Weibull | None:
    """Return the likeliest life; None with fewer than ``least`` failures, or where none fits.

    The shape solves ``sum(t^k ln t) / sum(t^k) - 1/k = mean ln t of the failures``; the scale is
    ``(sum(t^k) / failures) ** (1/k)``.

    References
    ----------
    Cohen (1965), Maximum likelihood estimation in the Weibull distribution based on complete and
    on censored samples (from memory).
    """
    lasted, ended = _checked(days, failed)
    if ended.sum() < least:
        return None
    logs = np.log(np.where(lasted > 0, lasted, _SAME_DAY))
    # Powers of days over the longest cannot overflow.
    logs_over = logs - logs.max()
    middle = float(logs_over[ended].mean())

    def slope(shape: float) -> float:
        weights = np.exp(shape * logs_over)
        return float(weights @ logs_over / weights.sum()) - 1 / shape - middle

    if slope(_SHAPES[0]) * slope(_SHAPES[1]) > 0:
        return None
    shape = float(optimize.brentq(slope, *_SHAPES))
    mass = float(np.exp(shape * logs_over).sum()) / int(ended.sum())
    return Weibull(shape=shape, scale=math.exp(float(logs.max())) * mass ** (1 / shape))
