"""The next finding to record where no catalogue check is known: by expected information."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.diagnosis.causes import CauseChance, CauseModel
from kb.diagnosis.information import information_gain
from kb.diagnosis.profiles import RECORDED_CASES
from kb.retrieval.asked import Asked
from kb.retrieval.features import OBSERVED

Floats = NDArray[np.float64]

# Cases as near as the thirtieth best count in full; the others fade by this share of their nats.
# Both are our choice, measured on half of a published network's cases.
_NEAR: Final = 30
_FADE: Final = 0.3


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingAdvice:
    """A finding worth recording next, and the bits about the cause to expect of it."""

    field: str
    bits: float
    values: tuple[str, ...]


def closeness(scores: Floats) -> Floats:
    """Return how much each case counts for what to expect here, 0 to 1, from its score."""
    if not len(scores):
        return np.ones(0)
    bound = np.sort(scores)[-min(_NEAR, len(scores))]
    return np.asarray(np.exp(np.minimum(0.0, _FADE * (scores - bound))), np.float64)


def expected_shares(model: CauseModel, field: str, near: Floats) -> Floats:
    """Return P(value | cause) as cases like this one have it, shape ``(n_causes, n_values)``."""
    _, shares, _ = model.recorded(field)
    counts = model.recorded_counts(field, near)
    recorded = counts.sum(axis=1, keepdims=True)
    local = (counts + RECORDED_CASES * shares) / (recorded + RECORDED_CASES)
    weighed = local ** model.calibration.weight(f"observed {field}")
    return np.asarray(weighed / weighed.sum(axis=1, keepdims=True), np.float64)


def next_findings(
    model: CauseModel,
    asked: Asked,
    chances: Sequence[CauseChance],
    *,
    fields: Iterable[str] | None = None,
    top: int = 5,
) -> tuple[FindingAdvice, ...]:
    """Return the unrecorded findings that tell most about the cause, best first.

    Parameters
    ----------
    model : CauseModel
        Fitted.
    asked : Asked
        The job held against the cases.
    chances : sequence of CauseChance
        As ``CauseModel.chances`` gives them.
    fields : iterable of str or None
        What can be recorded; None means every field that any case recorded.
    top : int
        How many to return.
    """
    known = {token.field for token in asked.query.tokens}
    every = (name for name in model.index.values_of_ if name.startswith(OBSERVED))
    at = {name: i for i, name in enumerate(model.causes_)}
    named = [row for row in chances if row.cause is not None]
    share = np.array(
        [*(row.chance for row in named), sum(r.chance for r in chances if not r.cause)]
    )
    rows = np.array([at[row.cause or ""] for row in named], np.int64)
    near = closeness(asked.scores)
    found = []
    for field in fields if fields is not None else every:
        values, _, overall = model.recorded(field)
        if field in known or len(values) < 2:
            continue
        table = np.vstack([expected_shares(model, field, near)[rows], overall])
        bits = information_gain(share / share.sum(), table)
        found.append(FindingAdvice(field=field, bits=bits, values=values))
    found.sort(key=lambda row: (-row.bits, row.field))
    return tuple(found[:top])
