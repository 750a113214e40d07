"""Many rows, each with two stretches of time: in which of them more came of the same exposure."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats

from kb.diagnosis.discoveries import SHARE_BY_CHANCE, found


@dataclass(frozen=True, slots=True, kw_only=True)
class TwoCounts:
    """What came recently and before, and what it could have come of; recent times any season."""

    recent: int
    before: int
    recent_exposure: float
    before_exposure: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighed:
    """The chance of as much by luck, and whether the row is found among all that were tested."""

    p: float
    found: bool


def more_now(
    rows: Sequence[TwoCounts], *, q: float = SHARE_BY_CHANCE, both_ways: bool = False
) -> tuple[Weighed, ...]:
    """Return for each row whether its rate went up (``both_ways``: up or down).

    ``P(X >= recent)`` with X binomial over all events of the row and the recent share of its
    exposure, as ``kb.diagnosis.rates.two_rate_p``; both ways twice the lesser tail. Found by
    Benjamini and Hochberg among the rows whose totals could tell anything. A row without exposure
    on either side cannot tell: its p is 1.
    """
    if not rows:
        return ()
    recent = np.array([row.recent for row in rows], np.float64)
    total = recent + np.array([row.before for row in rows], np.float64)
    now = np.array([row.recent_exposure for row in rows], np.float64)
    then = np.array([row.before_exposure for row in rows], np.float64)
    tells = (now > 0) & (then > 0)
    share = np.where(tells, now / np.where(tells, now + then, 1.0), 0.5)
    p, least = stats.binom.sf(recent - 1, total, share), share**total
    if both_ways:
        p = np.minimum(1.0, 2 * np.minimum(p, stats.binom.cdf(recent, total, share)))
        least = np.minimum(1.0, 2 * np.minimum(least, (1 - share) ** total))
    p, least = np.where(tells, p, 1.0), np.where(tells, least, 1.0)
    believed = found(p, reachable=least, q=q)
    pairs = zip(p.tolist(), believed.tolist(), strict=True)
    return tuple(Weighed(p=each, found=seen) for each, seen in pairs)
