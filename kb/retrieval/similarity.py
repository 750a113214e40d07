"""The evidence formulas: each part of a score is a log likelihood ratio in nats.

Parts have one unit, so they add; what is missing on either side counts exactly 0.
"""

from dataclasses import dataclass
from typing import Final, NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from kb.retrieval.levels import Sorted

Floats = NDArray[np.float64]
Numbers = TypeVar("Numbers", NDArray[np.float32], NDArray[np.float64])

# Copy rates: the share of a token that two cases of one cause have because of the cause, before
# any are counted: our choice. Vehicle likeness is a hint, never a proof.
COPY_RATE: Final = {
    "symptom": 0.20,
    "condition": 0.10,
    "clause": 0.05,
    "finding": 0.50,
    "code": 0.45,
    "scan": 0.10,
    "tried": 0.20,
    "vehicle": 0.04,
    # A recorded finding with a fixed set of values: the prior of what its field turns out to be
    # worth, see ``kb.retrieval.moments``.
    "observed": 0.25,
}
# Parts whose weights are fitted together: words, what was said, what was found, and so on.
PART_GROUP: Final = {
    "text": "text", "contrary": "text",
    "symptom": "said", "condition": "said", "clause": "said",
    "finding": "found", "code": "found", "scan": "found", "tried": "found", "observed": "found",
    "vehicle": "vehicle", "reading": "reading",
    "learned": "learned", "spelling": "learned",
}  # fmt: skip
# Correlation of normal scores between two cases of one cause, before any are learned: the prior
# mean .25 of the moment estimate, science of record linkage (Fellegi & Sunter 1969, from memory).
READING_CORRELATION: Final = 0.25
# Nats for a cosine of 1: with 24, 32 and 40 the first case is right in 63, 65 and 66 of the 82 own
# questions on the demonstration cases.
TEXT_WEIGHT: Final = 40.0
# Share of words and their pairs, beside character n-grams, and of what came in, beside what it
# turned out to be, where a text stands for a cause.
WORD_SHARE: Final = 0.3
SAID_SHARE: Final = 0.65
# Share of the cosine of each pair of texts of two cases: the same for all, so that the texts of a
# case can be kept as one sum, and the score is the same whichever of the two asks.
TEXT_SHARE: Final = 0.5
# The same words about contrary facts speak against a case: nats where one sentence of it has all
# the words of the query and contradicts it throughout (chosen as in ``kb.case.contraries``).
CONTRARY_WEIGHT: Final = 62.5
# Words up to which a query states few enough facts to be contradicted, the nearest cases that are
# looked at, and the cosine of the texts below which none is near (our choice).
MOST_STATED: Final = 40
MOST_CONTRARY: Final = 20
LEAST_NEAR: Final = 0.1


class Reason(NamedTuple):
    """One part of a score: ``weight`` in nats, positive speaks for, negative against."""

    part: str
    what: str
    weight: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """A case found for a job; the weights of ``reasons`` add up to ``score``."""

    case: str
    row: int
    score: float
    reasons: tuple[Reason, ...]


def token_agreement(copy_rate: float, share: float) -> float:
    """Return the weight of a token that both have: ``ln(1 - r + r / p)``, in nats.

    Parameters
    ----------
    copy_rate : float
        r, from 0 to below 1.
    share : float
        p, share of cases with the token, above 0.

    References
    ----------
    Fellegi & Sunter (1969), A theory for record linkage (from memory).
    """
    return float(np.log(1 - copy_rate + copy_rate / share))


def token_conflict(copy_rate: float) -> float:
    """Return the weight of a token where the other has another value: ``ln(1 - r)``, in nats."""
    return float(np.log(1 - copy_rate))


def normal_scores(values: Floats, population: Sorted) -> Floats:
    """Return normal scores of ``values`` by their rank in the sorted ``population``.

    ``u = (rank + 1/2) / (m + 1)`` with the middle rank for ties, ``z`` the normal quantile of u.

    References
    ----------
    van der Waerden scores; Conover (1999), Practical Nonparametric Statistics (from memory).
    """
    low = population.searchsorted(values, side="left")
    high = population.searchsorted(values, side="right")
    rank = (low + high) / 2
    scores: Floats = ndtri((rank + 0.5) / (len(population) + 1))
    return scores


def normal_score(value: float, population: Sorted) -> float:
    """Return the normal score of one value, as ``normal_scores`` gives it, in a third of the time."""
    low = population.searchsorted(value, side="left")
    rank = (low + population.searchsorted(value, side="right")) / 2
    return float(ndtri((rank + 0.5) / (len(population) + 1)))


def reading_agreement(query: float, cases: Numbers, correlation: float) -> Numbers:
    """Return the log likelihood ratio of same-direction agreement of normal scores, in nats.

    ``s = -ln(1 - rho^2)/2 - (rho^2 (x^2 + y^2) - 2 rho x y) / (2 (1 - rho^2))``: the ratio of a
    bivariate normal density with correlation rho to that of two independent scores.
    """
    rest = 1 - correlation**2
    # Three passes over many numbers: (c y + b) y + a.
    result = cases * (-(correlation**2) / (2 * rest))
    result += correlation * query / rest
    result *= cases
    result += float(-0.5 * np.log(rest)) - (correlation * query) ** 2 / (2 * rest)
    return result
