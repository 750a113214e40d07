"""Many rows tested at once: which of them to believe, so that few of those believed are chance."""

from collections.abc import Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import stats

Floats = NDArray[np.float64]

# Our choice: of all rows that are called found, at most one in ten by chance alone.
SHARE_BY_CHANCE: Final = 0.10
# A p that sits on the limit counts as found, rounding errors or not.
_ROUNDING: Final = 1e-12


def can_tell(reachable: Sequence[float] | Floats, q: float = SHARE_BY_CHANCE) -> NDArray[np.bool_]:
    """Return which rows of shape (n,) could be found at all, from the least p that each can reach.

    The smallest K such that no more than K rows can reach ``q / K``; those rows are tested. The
    rows must be chosen by their margins alone, never by what is tested.

    References
    ----------
    Tarone (1990), A modified Bonferroni method for discrete data; for discoveries by Gilbert
    (2005) (from memory).

    Examples
    --------
    >>> can_tell([0.5, 0.02, 0.001, 0.3], q=0.1).tolist()
    [False, True, True, False]
    """
    least = np.asarray(reachable, np.float64)
    for count in range(1, len(least) + 1):
        able = least <= q / count
        if able.sum() <= count:
            return np.asarray(able, np.bool_)
    return np.zeros(len(least), np.bool_)


def adjusted(p_values: Sequence[float] | Floats) -> Floats:
    """Return, for each p of shape (n,), the least share by chance at which it is found.

    Examples
    --------
    >>> adjusted([0.01, 0.02, 0.9]).round(3).tolist()
    [0.03, 0.03, 0.9]
    """
    values = np.asarray(p_values, np.float64)
    return np.asarray(stats.false_discovery_control(values) if len(values) else values, np.float64)


def found(
    p_values: Sequence[float] | Floats,
    *,
    reachable: Sequence[float] | Floats | None = None,
    q: float = SHARE_BY_CHANCE,
) -> NDArray[np.bool_]:
    """Return which of n rows are found, so that on average no more than ``q`` of them by chance.

    Parameters
    ----------
    p_values : (n,)
        Of all rows, the dull ones too.
    reachable : (n,), optional
        The least p that the margins of each row allow; rows that cannot tell are not tested.

    References
    ----------
    Benjamini & Hochberg (1995), Controlling the false discovery rate.

    Examples
    --------
    >>> found([0.01, 0.2, 0.04], q=0.1).tolist()
    [True, False, True]
    """
    values = np.asarray(p_values, np.float64)
    able = np.ones(len(values), np.bool_) if reachable is None else can_tell(reachable, q)
    believed = np.zeros(len(values), np.bool_)
    believed[able] = adjusted(values[able]) <= q + _ROUNDING
    return believed
