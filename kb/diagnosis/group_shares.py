"""Shares of several groups held against each other: whether they differ by more than luck."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from scipy import stats

# Cochran's rule for when the test holds: no cell expects less than 1, at most a fifth less than 5.
_LEAST: Final = 1.0
_USUAL: Final = 5.0
_FEW: Final = 0.2


def spread_p(counts: Sequence[int], ofs: Sequence[int]) -> float | None:
    """Return the chance of so much spread or more, were all shares the same.

    Pearson's chi-square of the table of yes and no by group, with one degree of freedom less than
    there are groups. None where it does not hold: fewer than two groups, or too few to tell.

    References
    ----------
    Cochran (1954), Some methods for strengthening the common chi-square tests (from memory).

    Examples
    --------
    >>> round(spread_p([10, 20], [50, 50]), 4)
    0.0291
    >>> spread_p([0, 1], [50, 50]) is None
    True
    """
    table = np.array([(count, of - count) for count, of in zip(counts, ofs, strict=True)])
    if len(table) < 2 or (table.sum(axis=0) == 0).any() or (table.sum(axis=1) == 0).any():
        return None
    found = stats.chi2_contingency(table, correction=False)
    expected = found.expected_freq
    if expected.min() < _LEAST or (expected < _USUAL).mean() > _FEW:
        return None
    return float(found.pvalue)
