"""What the readings of a cause's cases say about one reading of an open job."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Pseudo-cases that shrink a reading's profile to the overall share; between the 3 of the profile
# formula and 1, by the shop's own job descriptions.
READING_CASES: Final = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Witness:
    """Cases with one reading: number of the cause, normal score, weight; all of one length."""

    causes: NDArray[np.int64]
    scores: Floats
    weights: Floats


def reading_profile(z: float, witness: Witness, n_causes: int) -> Floats:
    """Return ``ln N(z; mu, v) - ln N(z; 0, 1)`` by cause, 0 where a cause has no such reading.

    ``mu = sum z / (n + k)``, ``v = (sum (z - mu)^2 + k) / (n + k) (1 + 1 / (n + k))`` over the
    normal scores z of the cause's n cases, shrunk by k pseudo-cases to the overall share.

    Parameters
    ----------
    z : float
        Normal score of the reading of the open job.
    witness : Witness
        The stored readings.
    n_causes : int
        Length of the answer.
    """
    causes, weights = witness.causes, witness.weights
    n = np.bincount(causes, weights=weights, minlength=n_causes)
    shrunk = n + READING_CASES
    mean = np.bincount(causes, weights=weights * witness.scores, minlength=n_causes) / shrunk
    apart = weights * (witness.scores - mean[causes]) ** 2
    spread = np.bincount(causes, weights=apart, minlength=n_causes)
    variance = (spread + READING_CASES) / shrunk * (1 + 1 / shrunk)
    ratio = 0.5 * (z**2 - (z - mean) ** 2 / variance - np.log(variance))
    return np.asarray(np.where(n > 0, ratio, 0.0), np.float64)
