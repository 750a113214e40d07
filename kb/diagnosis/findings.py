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
from kb.retrieval.features import OBSERVED, token_key

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


class FieldTables:
    """P(value | cause) of several fields at once, as cases like the one asked about have it.

    The same numbers as ``expected_shares``, counted in one pass.

    Parameters
    ----------
    model : CauseModel
        Fitted.
    names : iterable of str
        Names of findings; those of which the cases recorded fewer than two values are left out.
        ``at`` gives the place of each that is kept.
    """

    def __init__(self, model: CauseModel, names: Iterable[str]) -> None:
        fields = {name: f"{OBSERVED}{name}" for name in names}
        tables = {name: model.recorded(field) for name, field in fields.items()}
        kept = [name for name, (values, _, _) in tables.items() if len(values) > 1]
        self.at = {name: number for number, name in enumerate(kept)}
        self._shares = [tables[name][1] for name in kept]
        self._weights = [model.calibration.weight(f"observed {fields[name]}") for name in kept]
        keys = [token_key(fields[name], value) for name in kept for value in tables[name][0]]
        self._count(model, keys)

    def _count(self, model: CauseModel, keys: Sequence[str]) -> None:
        """Note for every recorded value its case and its cell, cause by column."""
        index, at = model.index, {name: number for number, name in enumerate(model.causes_)}
        cause_of = np.array([at.get(cause or "", -1) for cause in index.causes_], np.int64)
        found = [index.tokens_.of(key) for key in keys]
        rows = np.concatenate([np.empty(0, np.int64), *found])
        columns = np.repeat(np.arange(len(keys)), [len(part) for part in found])
        known = cause_of[rows] >= 0
        self._rows, self._size = rows[known], (len(at), len(keys))
        self._cells = cause_of[self._rows] * len(keys) + columns[known]
        self._case_weights = index.weights_[self._rows]

    def expected(self, names: Iterable[str], near: Floats) -> tuple[Floats, ...]:
        """Return the tables of ``names``, each of shape ``(n_causes, n_values)``."""
        if not self.at:
            return ()
        widths = [shares.shape[1] for shares in self._shares]
        starts = np.concatenate([[0], np.cumsum(widths)[:-1]])
        weights = self._case_weights * near[self._rows]
        flat = np.bincount(self._cells, weights, self._size[0] * self._size[1])
        counts = flat.reshape(self._size) + RECORDED_CASES * np.hstack(self._shares)
        total = np.repeat(np.add.reduceat(counts, starts, axis=1), widths, axis=1)
        weighed = (counts / total) ** np.repeat(self._weights, widths)
        weighed /= np.repeat(np.add.reduceat(weighed, starts, axis=1), widths, axis=1)
        ends = starts + widths
        return tuple(weighed[:, starts[at] : ends[at]] for at in (self.at[n] for n in names))

    def overall(self, names: Iterable[str]) -> tuple[Floats, ...]:
        """Return the tables of ``names`` with every case counted in full and none weighed."""
        return tuple(self._shares[self.at[name]] for name in names)


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
