"""How much what was learned counts beside the other evidence, fitted on pairs of closed cases."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import CaseIndex
from kb.retrieval.learn import fit_learned

Floats = NDArray[np.float64]

# Until a weight is fitted, evidence counts in nats as it stands; pairs below which none is
# fitted, questions asked, other cases held against each question, and bounds (our choice).
PLAIN_WEIGHT: Final = 1.0
LEAST_PAIRS: Final = 100
_QUESTIONS: Final = 200
_OTHERS: Final = 60
_BOUNDS: Final = (0.0, 16.0)


def fit_weight(cases: Sequence[CaseFeatures]) -> float:
    """Return the weight of learned evidence where the other evidence has weight 1.

    Half of the cases teach, the other half asks, with its end unknown; logistic regression of
    "same cause" on both scores, as pairs. Too few pairs give the plain weight.
    """
    ordered = sorted((case for case in cases if case.cause), key=lambda case: case.case)
    stored, asked = ordered[::2], ordered[1::2]
    learned = fit_learned(stored)
    if learned is None:
        return PLAIN_WEIGHT
    index = CaseIndex().fit(stored)
    causes = np.array([case.cause for case in stored])
    step = max(1, len(asked) // _QUESTIONS)
    plain, extra, same = [], [], []
    for number, case in enumerate(asked[::step]):
        question = replace(case, told="", labels=())
        rows = _pairs(causes, case.cause, number)
        before = index.attach(None).scores(question)
        after = index.attach(replace(learned, weight=PLAIN_WEIGHT)).scores(question)
        plain.append(before[rows])
        extra.append((after - before)[rows])
        same.append(causes[rows] == case.cause)
    return _ratio(np.concatenate(plain), np.concatenate(extra), np.concatenate(same))


def _pairs(causes: NDArray[np.str_], cause: str | None, seed: int) -> NDArray[np.int64]:
    """Return the rows with the cause, and a handful of the others."""
    others = np.flatnonzero(causes != cause)
    some = np.random.default_rng(seed).permutation(others)[:_OTHERS]
    return np.concatenate([np.flatnonzero(causes == cause), some])


def _ratio(plain: Floats, extra: Floats, same: NDArray[np.bool_]) -> float:
    from sklearn.linear_model import LogisticRegression  # noqa: PLC0415 - fitting only

    if min(same.sum(), (~same).sum()) < LEAST_PAIRS:
        return PLAIN_WEIGHT
    model = LogisticRegression(C=1e3, max_iter=500).fit(np.stack([plain, extra], axis=1), same)
    first, second = (float(x) for x in model.coef_[0])
    if first <= 0:
        return PLAIN_WEIGHT
    return float(np.clip(second / first, *_BOUNDS))
