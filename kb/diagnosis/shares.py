"""Shares of small counts held against each other, many at once, and the band of a p-chart."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from kb.diagnosis.discoveries import SHARE_BY_CHANCE, found
from kb.diagnosis.two_rates import Weighed

# As far out as three standard deviations of a normal distribution, on each side.
_BEYOND: float = 0.00135


def more_often(
    rows: Sequence[tuple[tuple[int, int], tuple[int, int]]], *, q: float = SHARE_BY_CHANCE
) -> tuple[Weighed, ...]:
    """Return for each row of two shares, each ``(count, of)``, whether the first is the greater.

    Fisher's exact test, one-sided; found by Benjamini and Hochberg among the rows whose totals
    could tell anything.

    References
    ----------
    Fisher (1935), The logic of inductive inference (from memory).

    Examples
    --------
    >>> (tested,) = more_often([((3, 4), (1, 4))])
    >>> round(tested.p, 4)
    0.2429
    """
    if not rows:
        return ()
    table: NDArray[np.int64] = np.array(rows, np.int64)
    counts, ofs = table[:, :, 0], table[:, :, 1]
    whole, hits, drawn = ofs.sum(axis=1), counts.sum(axis=1), ofs[:, 0]
    p = stats.hypergeom.sf(counts[:, 0] - 1, whole, hits, drawn)
    least = stats.hypergeom.sf(np.minimum(hits, drawn) - 1, whole, hits, drawn)
    believed = found(p, reachable=least, q=q)
    pairs = zip(p.tolist(), believed.tolist(), strict=True)
    return tuple(Weighed(p=each, found=seen) for each, seen in pairs)


def share_bands(share: float, ofs: Sequence[int]) -> tuple[tuple[int, int], ...]:
    """Return for each number of jobs the least and the most counts that are not out of the way.

    The exact limits of a p-chart: outside of them on one side lie at most .135 %.

    Examples
    --------
    >>> share_bands(0.05, [20])
    ((0, 5),)
    """
    numbers = np.array(ofs, np.int64)
    low = stats.binom.ppf(_BEYOND, numbers, share)
    high = stats.binom.isf(_BEYOND, numbers, share)
    return tuple((int(a), int(b)) for a, b in zip(low, high, strict=True))
