"""How much each part of the evidence counts beside the others, fitted on pairs of closed cases."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit

from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import CaseIndex
from kb.retrieval.learn import fit_learned
from kb.retrieval.learned import Learned
from kb.retrieval.sample import Sample
from kb.retrieval.similarity import PART_GROUP

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Parts whose weights are fitted; what was learned is the last of them.
GROUPS: Final = tuple(dict.fromkeys(PART_GROUP.values()))
LEARNED: Final = "learned"
# Closed jobs from which anything is learned: below 300 nothing is gained (on the demonstration's
# 185 cases, learned fields at best added 1 point of hit@1 and at their usual weight cost 39).
WORTH_LEARNING: Final = 300
# Until weights are fitted, evidence counts in nats as it stands. Pairs of one cause below which
# none are fitted, questions asked, other cases held against each question (our choice).
PLAIN_WEIGHT: Final = 1.0
LEAST_PAIRS: Final = 100
# Cases beyond which an even share of them is enough (our choice: weights move little from 2,000 on).
_MOST_CASES: Final = 4000
_QUESTIONS: Final = 200
_OTHERS: Final = 60
# Ridge that holds the weights at their common scale, in pairs; no part counts more than this
# (our choice: 5 to 50 are alike on the invented shops).
_RIDGE: Final = 20.0
_MOST: Final = 16.0
_ANY: Final = (None, None)


def fit_weights(cases: Sequence[CaseFeatures]) -> Mapping[str, float]:
    """Return the weight of each part of the evidence, 1 on the whole; none from too few pairs.

    Half of the cases teach, the other half asks, with its end unknown. Logistic regression of
    "same cause" on the parts, as pairs: ``P = 1 / (1 + exp(-b - sum_k w_k s_k))`` with ``w >= 0``
    and a ridge to the one scale that all parts together would have; ``w`` is given over that scale.
    """
    ordered = _even_share(cases)
    stored, asked = ordered[::2], ordered[1::2]
    if not asked:
        return {}
    learned = fit_learned(stored)
    index = CaseIndex().fit(stored)
    if learned is not None:
        index.attach(replace(learned, weight=PLAIN_WEIGHT))
    causes = np.array([case.cause for case in stored])
    parts, same = [], []
    for number, case in enumerate(asked[:: max(1, len(asked) // _QUESTIONS)]):
        rows = _pairs(causes, case.cause, number)
        parts.append(_by_group(index, replace(case, told="", labels=()))[:, rows])
        same.append(causes[rows] == case.cause)
    return _fit(np.concatenate(parts, axis=1), np.concatenate(same))


def _even_share(cases: Sequence[CaseFeatures]) -> list[CaseFeatures]:
    """Return every second, third and so on of the cases with a cause."""
    ordered = sorted((case for case in cases if case.cause), key=lambda case: case.case)
    return ordered[:: -(-len(ordered) // _MOST_CASES) or 1]


def weighed_from(cases: Sequence[CaseFeatures]) -> Sample:
    """Return from how many of ``cases`` with a cause the weights are fitted."""
    known = sum(case.cause is not None for case in cases)
    return Sample(taken=len(_even_share(cases)), among=known, how="an even share, by their ids")


def fit_weighed(cases: Sequence[CaseFeatures]) -> Learned | None:
    """Return what closed cases teach, with the weights of all parts; None from fewer than 300."""
    found = fit_learned(cases) if len(cases) >= WORTH_LEARNING else None
    if found is None:
        return None
    weights = fit_weights(cases)
    parts = {name: weight for name, weight in weights.items() if name != LEARNED}
    return replace(found, weight=weights.get(LEARNED, PLAIN_WEIGHT), parts=parts)


def _by_group(index: CaseIndex, question: CaseFeatures) -> Floats:
    """Return the nats of each group of parts for every case, shape ``(n_groups, n_cases)``."""
    found = np.zeros((len(GROUPS), len(index.ids_)), np.float32)
    for row in index.ask(question).parts:
        row.add_to(found[GROUPS.index(PART_GROUP[row.part])])
    return found.astype(np.float64)


def _pairs(causes: NDArray[np.str_], cause: str | None, seed: int) -> NDArray[np.int64]:
    """Return the rows with the cause, and a handful of the others."""
    others = np.flatnonzero(causes != cause)
    some = np.random.default_rng(seed).permutation(others)[:_OTHERS]
    return np.concatenate([np.flatnonzero(causes == cause), some])


def _fit(parts: Floats, same: Flags) -> Mapping[str, float]:
    from scipy.optimize import minimize  # noqa: PLC0415 - fitting only

    if min(same.sum(), (~same).sum()) < LEAST_PAIRS:
        return {}
    whole = _Pairs(parts=parts.sum(axis=0)[None, :], same=same, scale=0.0, ridge=0.0)
    scale, level = minimize(_loss, [0.5, -4.0], whole, jac=True, bounds=[(0, None), _ANY]).x
    if scale <= 0:
        return {}
    pairs = _Pairs(parts=parts, same=same, scale=float(scale), ridge=_RIDGE)
    start = [*np.full(len(GROUPS), scale), level]
    bounds = [(0, _MOST * scale)] * len(GROUPS) + [_ANY]
    weights = minimize(_loss, start, pairs, jac=True, bounds=bounds).x[:-1] / scale
    return {name: float(weight) for name, weight in zip(GROUPS, weights, strict=True)}


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pairs:
    """Parts of the evidence, shape ``(n_parts, n_pairs)``, whether a pair is of one cause; ridge."""

    parts: Floats
    same: Flags
    scale: float
    ridge: float


def _loss(numbers: Floats, pairs: _Pairs) -> tuple[float, Floats]:
    """Return the ridged negative log likelihood of what is of one cause, and its slope."""
    odds = numbers[:-1] @ pairs.parts + numbers[-1]
    miss = expit(odds) - pairs.same
    value = float(np.logaddexp(0.0, odds).sum() - odds[pairs.same].sum())
    pull = numbers[:-1] - pairs.scale
    slope = np.append(pairs.parts @ miss + pairs.ridge * pull, miss.sum())
    return value + 0.5 * pairs.ridge * float(pull @ pull), slope
