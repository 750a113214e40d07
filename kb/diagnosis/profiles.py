"""Profiles of causes: shares of recorded values and of readings, shrunk to the overall share."""

from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

# Pseudo-cases with which the share of a recorded value is shrunk (kappa of the profile formula),
# and those of a reading's profile (our choice, measured on the invented shops).
RECORDED_CASES: Final = 3.0
READING_CASES: Final = 2.0


def recorded_shares(counts: Floats) -> tuple[Floats, Floats]:
    """Return P(value | cause, recorded) and the overall shares of a field with fixed values.

    ``(n_cv + k m_v) / (n_c + k)`` with n_c the cases of the cause that recorded the field and
    ``m_v`` the overall share of the value, itself one pseudo-case away from even shares.

    Parameters
    ----------
    counts : array of shape (n_causes, n_values)
        Weight of the cases by cause and recorded value.
    """
    total = counts.sum(axis=0)
    overall = (total + 1 / counts.shape[1]) / (total.sum() + 1)
    recorded = counts.sum(axis=1, keepdims=True)
    shares: Floats = (counts + RECORDED_CASES * overall) / (recorded + RECORDED_CASES)
    return shares, overall


def reading_ratio(z: float, scores: Floats, causes: Codes, *, weights: Floats, size: int) -> Floats:
    """Return ``ln N(z; mu, v) - ln N(z; 0, 1)`` by cause, 0 where a cause has no such reading.

    ``mu = sum z / (n + k)``, ``v = (sum (z - mu)^2 + k) / (n + k) (1 + 1 / (n + k))`` over the
    normal scores of the cause's n cases, shrunk by k pseudo-cases to the overall share.

    Parameters
    ----------
    z : float
        Normal score of the reading asked about.
    scores, causes, weights : arrays of shape (n_values,)
        Normal scores of the cases, the number of their cause, their weight.
    size : int
        Number of causes.
    """
    n = np.bincount(causes, weights=weights, minlength=size)
    shrunk = n + READING_CASES
    mean = np.bincount(causes, weights=weights * scores, minlength=size) / shrunk
    spread = np.bincount(causes, weights * (scores - mean[causes]) ** 2, size)
    variance = (spread + READING_CASES) / shrunk * (1 + 1 / shrunk)
    ratio = 0.5 * (z**2 - (z - mean) ** 2 / variance - np.log(variance))
    return np.asarray(np.where(n > 0, ratio, 0.0), np.float64)
