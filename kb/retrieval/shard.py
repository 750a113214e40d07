"""Some of all cases, asked on their own: what their answer holds so that answers can be joined.

What the same words about contrary facts take off counts only for the nearest texts of all cases,
which no shard knows: it tells its own nearest texts, and of cases that are contradicted both
scores. Since a contradiction only takes away, the best of all cases are among what shards return.
"""

from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np

from kb.retrieval.asked import Asked, Codes, OfAll
from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import CaseIndex
from kb.retrieval.layer import Layer
from kb.retrieval.layers import LayeredAsked, LayeredIndex
from kb.retrieval.similarity import Match
from kb.retrieval.whole import Whole

_CONTRARY: Final = "contrary"
# What an index holds of its cases once it is fitted.
_FITTED: Final = (
    "ids_", "causes_", "stated_", "standings_", "origins_", "groups_", "weights_", "tokens_",
    "fields_", "labels_", "words_", "measures_", "values_",
)  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What all shards are asked.

    ``top`` best cases with reasons and ``witnesses`` best ones that have a cause; with ``among``
    only of those ids. Cases in ``gone`` changed or went since the shards were fitted.
    """

    query: CaseFeatures
    top: int
    witnesses: int
    among: frozenset[str] | None = None
    gone: tuple[str, ...] = ()


class Near(NamedTuple):
    """A text near the one asked: what its words give, in nats."""

    weight: float
    case: str


class Witness(NamedTuple):
    """A case with a cause: its score, and that with what contradictions take off."""

    case: str
    score: float
    contradicted: float


class Found(NamedTuple):
    """A case with its score and reasons, without and with what contradictions take off."""

    match: Match
    contradicted: Match


@dataclass(frozen=True, slots=True, kw_only=True)
class ShardAnswer:
    """What one shard found."""

    near: tuple[Near, ...]
    best: tuple[Found, ...]
    witnesses: tuple[Witness, ...]


class _Both(NamedTuple):
    """A query asked with and without contradictions, and the rows whose scores differ by them."""

    low: LayeredAsked
    high: LayeredAsked
    open_rows: list[int]


class _Now(NamedTuple):
    """The cases without those that are gone."""

    gone: tuple[str, ...]
    cases: LayeredIndex
    causes: Codes


class Shard:
    """Cases that are asked on their own.

    Parameters
    ----------
    index : CaseIndex or LayeredIndex
        The cases, with everything worth what it is worth among all.
    """

    def __init__(self, index: CaseIndex | LayeredIndex) -> None:
        self._index = index if isinstance(index, LayeredIndex) else LayeredIndex(index)
        self._now = _Now((), self._index, _causes(self._index))

    def _without(self, gone: tuple[str, ...]) -> _Now:
        now = self._now
        if now.gone != gone:
            index = self._index.changed([], gone)
            # One assignment, so that threads see one state or the other.
            now = self._now = _Now(gone, index, _causes(index))
        return now

    def answer(self, question: Question) -> ShardAnswer:
        """Return what the cases here say to a question."""
        now = self._without(question.gone)
        low = now.cases.ask(question.query)
        high = _uncontradicted(low)
        # Rows whose score depends on whether their text is among the nearest of all.
        both = _Both(low, high, np.flatnonzero(low.scores != high.scores).tolist())
        return ShardAnswer(
            near=_near(low),
            best=_best(both, question),
            witnesses=_witnesses(both, now.causes, question),
        )


def _near(asked: LayeredAsked) -> tuple[Near, ...]:
    found = []
    for first, layer, rows in zip(asked.index.firsts, asked.layers, asked.near, strict=True):
        text = layer.parts[0]
        assert isinstance(text, OfAll)
        found += [Near(float(text.weights[r]), asked.index.ids_[first + int(r)]) for r in rows]
    return tuple(found)


def _uncontradicted(asked: LayeredAsked) -> LayeredAsked:
    """Return what was asked without what contradictions take off."""
    layers: tuple[Asked, ...] = asked.layers
    if not any(part.part == _CONTRARY for layer in layers for part in layer.parts):
        return asked
    scores = np.zeros_like(asked.scores)
    made = []
    for first, layer in zip(asked.index.firsts, layers, strict=True):
        total = scores[first : first + len(layer.scores)]
        parts = tuple(part for part in layer.parts if part.part != _CONTRARY)
        for part in parts:
            part.add_to(total)
        made.append(replace(layer, parts=parts, scores=total))
    return replace(asked, layers=tuple(made), scores=scores)


def _best(both: _Both, question: Question) -> tuple[Found, ...]:
    low, high, open_rows = both
    rows = low.best_rows(question.top, question.among)
    index = low.index
    wanted = [row for row in open_rows if index.ids_[row] != question.query.case]
    if question.among is not None:
        wanted = [row for row in wanted if index.ids_[row] in question.among]
    rows = list(dict.fromkeys([*rows, *wanted]))
    lower = low.matches(rows)
    return tuple(map(Found._make, zip(high.matches(rows), lower, strict=True)))


def _witnesses(both: _Both, causes: Codes, question: Question) -> tuple[Witness, ...]:
    low, high, open_rows = both
    rows = low.witnesses(question.witnesses, causes).rows
    rows += [row for row in open_rows if causes[row] >= 0 and row not in rows]
    ids = low.index.ids_
    return tuple(
        Witness(ids[row], float(high.scores[row]), float(low.scores[row]))
        for row in rows
        if ids[row] != question.query.case
    )


def _causes(index: LayeredIndex) -> Codes:
    """Return 0 for each case with a cause, -1 for the others."""

    def of(layer: CaseIndex) -> Codes:
        return np.array([-1 if cause is None else 0 for cause in layer.causes_], np.int64)

    return index.joined(of, away=-1)


def shard_over(whole: Whole, index: CaseIndex) -> Layer:
    """Return an index of some cases, as it was read from a file, over the worth of all."""
    made = Layer(whole)
    for name in _FITTED:
        setattr(made, name, getattr(index, name))
    made.texts_ = index.texts_
    made.texts_.like = whole.texts_.rarities
    return made.attached()
