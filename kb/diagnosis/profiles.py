"""Profiles of causes: shares of recorded values and of readings, shrunk to the overall share."""

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaln

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

# Pseudo-cases of a reading's profile (our choice, measured on the invented shops).
READING_CASES: Final = 2.0
# Recorded values below which a reading has no profile (our choice).
LEAST_READINGS: Final = 5
# Pseudo-cases tried for a field with fixed values; ln k is taken as even over them (our choice).
_TRIED: Final = 2.0 ** np.arange(-2, 7)


def held_cases(counts: Floats, base: Floats) -> float:
    """Return the pseudo-cases with which the shares of ``counts`` are best held near ``base``.

    Few where the rows differ, as the values then depend on the row; many where they are alike:
    ``exp(E[ln k])``, where k has the likelihood of rows drawn with shares that scatter about
    ``base`` by a Dirichlet distribution of concentration k.

    Parameters
    ----------
    counts : array of shape (n_rows, n_values)
    base : array of shape (n_values,) or (n_rows, n_values)
        Shares, above 0, each row adding up to 1.

    References
    ----------
    Good (1965), The estimation of probabilities; Minka (2000), Estimating a Dirichlet distribution
    (both from memory).
    """
    full = counts.sum(axis=1) > 0
    rows, shares = counts[full], np.broadcast_to(base, counts.shape)[full]
    fits = np.array([_fit(rows, k * shares) for k in _TRIED])
    weights = np.exp(fits - fits.max())
    return float(np.exp(weights @ np.log(_TRIED) / weights.sum()))


def _fit(rows: Floats, spread: Floats) -> float:
    """Return the log likelihood of rows of counts, less what does not depend on ``spread``."""
    k = spread.sum(axis=1)
    own = (gammaln(rows + spread) - gammaln(spread)).sum(axis=1)
    return float((own + gammaln(k) - gammaln(rows.sum(axis=1) + k)).sum())


def recorded_shares(counts: Floats) -> tuple[Floats, Floats]:
    """Return P(value | cause, recorded) and the overall shares of a field with fixed values.

    ``(n_cv + k m_v) / (n_c + k)`` with n_c the cases of the cause that recorded the field and
    ``m_v`` the overall share of the value, itself one pseudo-case away from even shares; k as
    ``held_cases`` finds it.

    Parameters
    ----------
    counts : array of shape (n_causes, n_values)
        Weight of the cases by cause and recorded value.
    """
    total = counts.sum(axis=0)
    overall = (total + 1 / counts.shape[1]) / (total.sum() + 1)
    return near_base(counts, overall), overall


def near_base(counts: Floats, base: Floats) -> Floats:
    """Return the shares of each row of ``counts``, held near ``base`` as ``held_cases`` says."""
    k = held_cases(counts, base)
    shares: Floats = (counts + k * base) / (counts.sum(axis=1, keepdims=True) + k)
    return shares


@dataclass(frozen=True, slots=True, eq=False)
class ReadingProfile:
    """What the cases of each cause read: normal scores taken as normal, by cause.

    ``known`` says whether a cause has such a reading; ``mean``, ``variance`` and its logarithm are
    those of the next reading to come.
    """

    known: NDArray[np.bool_]
    mean: Floats
    variance: Floats
    log_variance: Floats

    def ratio(self, z: float) -> Floats:
        """Return ``ln N(z; mu, v) - ln N(z; 0, 1)`` by cause, 0 where it has no such reading.

        Parameters
        ----------
        z : float
            Normal score of the reading asked about.
        """
        ratio = 0.5 * (z**2 - (z - self.mean) ** 2 / self.variance - self.log_variance)
        return np.asarray(np.where(self.known, ratio, 0.0), np.float64)


def reading_profile(scores: Floats, causes: Codes, *, weights: Floats, size: int) -> ReadingProfile:
    """Return the profile of a reading by cause.

    ``mu = sum z / (n + k)``, ``v = (sum (z - mu)^2 + k) / (n + k) (1 + 1 / (n + k))`` over the
    normal scores of the cause's n cases, shrunk by k pseudo-cases to the overall share.

    Parameters
    ----------
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
    return ReadingProfile(n > 0, mean, variance, np.log(variance))


def profile_of_known(
    scores: NDArray[np.floating[Any]], causes: Codes, *, weights: NDArray[Any], size: int
) -> ReadingProfile | None:
    """Return ``reading_profile`` of the cases that have a cause, None where too few have one.

    Parameters
    ----------
    scores, causes, weights, size
        As ``reading_profile`` takes them, the number of a cause -1 for none.
    """
    known = causes >= 0
    if known.sum() < LEAST_READINGS:
        return None
    own = scores[known].astype(np.float64)
    return reading_profile(own, causes[known], weights=weights[known], size=size)


def cause_prior(weights: Floats, cases: Codes) -> Floats:
    """Return the share of each cause before anything is known of a job, shape ``(n_causes,)``.

    Causes with a case share ``1 - g`` by their weight and half a case more; those of the catalogue
    without one share g evenly: ``g = (n_1 + 1) / (n + 2)`` with n_1 causes seen once among n cases,
    and never less than half a case each would give them. Where either kind is missing, all share
    by weight and half a case more.

    Parameters
    ----------
    weights : array of shape (n_causes,)
        Summed trust in the cases of each cause.
    cases : array of shape (n_causes,)
        How many cases each cause has.

    References
    ----------
    Good (1953), The population frequencies of species (from memory).
    """
    share = weights + 0.5
    stored = cases > 0
    if stored.all() or not stored.any():
        return np.asarray(share / share.sum(), np.float64)
    half = float(share[~stored].sum() / share.sum())
    new = max(half, float((cases == 1).sum() + 1) / float(cases.sum() + 2))
    known = (1 - new) * share / share[stored].sum()
    return np.where(stored, known, new / float((~stored).sum()))
