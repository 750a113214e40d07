"""Is a job like anything in memory? Signs, and the numbers that turn them into a chance.

A known cause explains what is unusual about a job: much that is unusual and little explained, or
much that speaks against even the best cause, is the mark of a cause that was never stored.
"""

from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import entr, expit, softmax

from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex

Floats = NDArray[np.float64]

# Names of the signs, in the order in which ``novelty_signs`` gives them.
SIGNS: Final = (
    "sum", "sharpness", "best", "against", "vote", "doubt", "vote of the best",
    "odd readings", "odd words", "words", "entries",
)  # fmt: skip
# Ridge on the weights of the signs, in jobs (our choice).
_RIDGE: Final = 0.3
_LEAST_SPREAD: Final = 1e-9
# Parts whose rarity makes a job unusual.
_TELLING: Final = frozenset({"observed", "symptom"})


def oddness(index: CaseIndex, query: CaseFeatures, entries: int) -> Floats:
    """Return how unusual a job is, whatever its cause, shape ``(4,)``.

    Surprise of its readings and of its words in nats, number of words and of entries.
    """
    usable = [row for row in query.measures if index.scale(row.key).usable]
    scores = [index.score(row, query.group) for row in usable]
    told = [row for row in query.tokens if row.part in _TELLING and row.value != "no"]
    shares = [_share(index, row) for row in told]
    readings = float(np.square(scores).sum()) / 2
    return np.array([readings, -float(np.log(shares).sum()), len(told), entries])


def _share(index: CaseIndex, token: Token) -> float:
    """Return the share of cases with the token: of all, or of those that recorded its field."""
    counted = len(index.tokens_.of(token.key))
    asked = index.fields_.count(token.field) if token.part == "observed" else None
    return (counted + 0.5) / ((len(index.ids_) if asked is None else asked) + 1)


def novelty_signs(weighed: Floats, level: Floats, vote: Floats, *, odd: Floats) -> Floats:
    """Return the signs of one job, shape ``(n_signs,)``.

    Parameters
    ----------
    weighed : array of shape (n_parts, n_causes)
        Weighted parts of the evidence.
    level : array of shape (n_causes,)
        Weighted prior and vote.
    vote : array of shape (n_causes,)
        Logarithm of the vote.
    odd : array of shape (4,)
        Surprise of the readings and of the words in nats, number of words and of entries.
    """
    evidence = weighed.sum(axis=0)
    logits = evidence + level
    best, top = int(logits.argmax()), float(logits.max())
    total = top + float(np.log(np.exp(logits - top).sum()))
    against = float(np.minimum(weighed[:, best], 0.0).sum())
    doubt = float(entr(softmax(logits)).sum())
    own = [total, top - total, evidence[best], against, vote.max(), doubt, vote[best]]
    return np.array([*own, *odd])


def novelty_chance(signs: Floats, weights: Floats, level: float) -> float:
    """Return the chance that the cause was never stored."""
    return float(expit(level + signs @ weights))


def fit_novelty(signs: Floats, new: NDArray[np.bool_], *, share: float) -> tuple[Floats, float]:
    """Return the weights of the signs and the level, by ridged logistic regression.

    Parameters
    ----------
    signs : array of shape (n_jobs, n_signs)
        Of jobs of which some have a cause that was left out on purpose.
    new : array of shape (n_jobs,)
        Whether its cause was left out.
    share : float
        The share of new causes to expect; the level is moved from the share of ``new`` to it.
    """
    middle, spread = signs.mean(axis=0), signs.std(axis=0)
    spread = np.where(spread > _LEAST_SPREAD, spread, 1.0)
    scaled = (signs - middle) / spread
    truth = new.astype(np.float64)

    def loss(numbers: Floats) -> tuple[float, Floats]:
        odds = scaled @ numbers[:-1] + numbers[-1]
        value = (np.logaddexp(0.0, odds) - truth * odds).sum()
        miss = expit(odds) - truth
        slope = np.append(scaled.T @ miss + _RIDGE * numbers[:-1], miss.sum())
        return float(value + 0.5 * _RIDGE * (numbers[:-1] ** 2).sum()), slope

    from scipy.optimize import minimize  # noqa: PLC0415 (start-up time)

    found = minimize(loss, np.zeros(signs.shape[1] + 1), jac=True, method="L-BFGS-B").x
    weights = np.asarray(found[:-1] / spread, np.float64)
    made = float(truth.mean())
    moved = float(np.log(share / (1 - share)) - np.log(made / (1 - made)))
    return weights, float(found[-1] - weights @ middle) + moved
