"""How much a check tells about the cause: entropy and expected information, in bits."""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def entropy_bits(shares: Floats) -> Floats:
    """Return the entropy of the last axis in bits, with ``0 log 0 = 0``.

    References
    ----------
    Shannon (1948), A mathematical theory of communication, section 6 (from memory).

    Examples
    --------
    >>> round(float(entropy_bits(np.array([9 / 14, 5 / 14]))), 4)
    0.9403
    """
    positive = np.where(shares > 0, shares, 1.0)
    return np.asarray(-(shares * np.log2(positive)).sum(axis=-1), np.float64)


def bits_told(before: Sequence[float], after: Sequence[float]) -> float:
    """Return the entropy of the chances before a finding less that after it, in bits.

    Below 0 where the finding opened up more than it settled. Both sum to 1, in any order.

    Examples
    --------
    >>> bits_told([0.25, 0.25, 0.25, 0.25], [0.5, 0.5])
    1.0
    """
    return float(entropy_bits(np.array(before)) - entropy_bits(np.array(after)))


def information_gain(chances: Floats, outcome_shares: Floats) -> float:
    """Return the expected information of a check about the cause, in bits.

    Parameters
    ----------
    chances : array of shape (n_causes,)
        Sum to 1.
    outcome_shares : array of shape (n_causes, n_outcomes)
        P(outcome | cause); rows sum to 1.

    References
    ----------
    Quinlan (1986), Induction of decision trees, section 4 (from memory).
    """
    mixed = chances @ outcome_shares
    return float(entropy_bits(mixed) - chances @ entropy_bits(outcome_shares))


def information_gains(chances: Floats, tables: Sequence[Floats]) -> Floats:
    """Return ``information_gain`` of several checks at once, shape ``(n_checks,)``."""
    if not tables:
        return np.empty(0)
    starts = np.cumsum([0, *(table.shape[1] for table in tables[:-1])])
    shares = np.hstack(tables)
    both = np.vstack([chances @ shares, shares])
    told = both * np.log2(np.where(both > 0, both, 1.0))
    entropy = -np.add.reduceat(told, starts, axis=1)
    return np.asarray(entropy[0] - chances @ entropy[1:], np.float64)


def joint_shares(first: Floats, second: Floats) -> Floats:
    """Return P(both outcomes | cause) of two checks, shape ``(n_causes, n_first * n_second)``.

    Given the cause, the outcomes are taken as independent.
    """
    return (first[:, :, None] * second[:, None, :]).reshape(len(first), -1)
