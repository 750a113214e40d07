"""Going to look: the order of looks by chance over minutes, and when a look beats a check."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def look_order(chances: Floats, minutes: Floats) -> NDArray[np.int64]:
    """Return the causes in order of chance over minutes, best first, ties by position.

    The order of least expected minutes where one cause is at work, looks are perfect and no look
    shares its access with another.

    References
    ----------
    Heckerman, Breese & Rommelse (1995), Decision-theoretic troubleshooting (from memory).

    Examples
    --------
    >>> look_order(np.array([0.5, 0.3, 0.2]), np.array([50.0, 10.0, 10.0])).tolist()
    [1, 2, 0]
    """
    return np.lexsort((np.arange(len(chances)), -chances / minutes))


def expected_minutes(chances: Floats, minutes: Floats) -> float:
    """Return the minutes to expect until the cause is found by looks in that order.

    ``sum_i m_i (1 - sum_{j<i} p_j)``: a look is made while the cause is not found yet.

    Examples
    --------
    >>> round(expected_minutes(np.array([0.5, 0.5]), np.array([10.0, 20.0])), 6)
    20.0
    """
    order = look_order(chances, minutes)
    found = np.cumsum(chances[order])
    return float(minutes[order] @ (1 - np.concatenate([[0.0], found[:-1]])))


def minutes_after(chances: Floats, shares: Floats, minutes: Floats) -> float:
    """Return the minutes of looking to expect after a check, over its outcomes.

    Parameters
    ----------
    chances, minutes : arrays of shape (n_causes,)
        Chance of each cause, and minutes of the look that verifies it.
    shares : array of shape (n_causes, n_outcomes)
        P(outcome | cause).
    """
    joint = chances[:, None] * shares
    total = joint.sum(axis=0)
    return sum(
        float(total[at]) * expected_minutes(joint[:, at] / total[at], minutes)
        for at in np.flatnonzero(total > 0)
    )


def better_to_look(
    chances: Floats, minutes: Floats, *, shares: Floats, check_minutes: float
) -> bool:
    """Return whether looking at once costs no more than the check and the looks after it."""
    with_check = check_minutes + minutes_after(chances, shares, minutes)
    return with_check >= expected_minutes(chances, minutes)


def best_check(gains: Sequence[float], minutes: Sequence[float]) -> int:
    """Return the check of the most information a minute, ties by position."""
    return int(np.argmax(np.array(gains) / np.array(minutes)))
