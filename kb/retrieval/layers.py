"""Later layers over an index: cases closed since it was fitted, and cases that it no longer holds.

What a word, a token or a reading is worth stays as it was fitted, so that a case has the same score
to the last bit in whichever layer it stands.
"""

from bisect import bisect_left
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any, Final, cast

import numpy as np
from numpy.typing import NDArray

from kb.errors import EmptyIndexError
from kb.retrieval.asked import Asked, OfAll, Ranked
from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import NO_CASE, CaseIndex
from kb.retrieval.layer import Joined, Layer, layer_of
from kb.retrieval.postings import Rows
from kb.retrieval.similarity import MOST_CONTRARY, Match

Floats = NDArray[np.float32]

_NONE: Final = np.zeros(0, np.int64)

# A layer swallows the one before it unless that is more than so many times its size, so that of n
# later cases there are about log(n) layers and each case is fitted log(n) times (our choice).
_SWALLOWS: Final = 2


class LayeredIndex:
    """An index with later layers over it; asked as an index is.

    Rows are numbered on from layer to layer. A case that is ``gone`` from a layer, because it was
    changed or withdrawn, is never found there.

    Parameters
    ----------
    base : CaseIndex
        As it was fitted.
    later : sequence of Layer
        Oldest first.
    gone : sequence of arrays of int, optional
        Rows of the base and of each layer that are no longer there; ascending.
    """

    def __init__(
        self,
        base: CaseIndex,
        later: Sequence[Layer] = (),
        *,
        gone: Sequence[Rows] | None = None,
    ) -> None:
        self.base = base
        self.layers: tuple[CaseIndex, ...] = (base, *later)
        self.gone = tuple(gone or [_NONE] * len(self.layers))
        sizes = [len(layer) for layer in self.layers]
        self.firsts: tuple[int, ...] = tuple(np.cumsum([0, *sizes])[:-1].tolist())
        self.size = sum(sizes)
        self.ids_: Sequence[str] = self._joined("ids_")
        self.causes_: Sequence[str | None] = self._joined("causes_")
        self.standings_: Sequence[str] = self._joined("standings_")
        self.origins_: Sequence[str] = self._joined("origins_")
        self.stored_fields = base.stored_fields

    def _joined(self, column: str) -> Sequence[Any]:
        return Joined(tuple(getattr(layer, column) for layer in self.layers), self.firsts)

    def part_of(self, row: int) -> tuple[int, int]:
        """Return the layer in which a row lies, and its row there."""
        at = layer_of(self.firsts, row)
        return at, row - self.firsts[at]

    @property
    def later_layers(self) -> tuple[Layer, ...]:
        """The layers over the base, oldest first."""
        return cast(tuple[Layer, ...], self.layers[1:])

    def __len__(self) -> int:
        """Return how many cases are there."""
        return self.size - sum(map(len, self.gone))

    def holds(self, case: str) -> bool:
        """Return whether a case of that id is there."""
        return self.row_of(case) is not None

    def row_of(self, case: str) -> int | None:
        """Return the row of a case, None where there is none of that id."""
        for layer, first, gone in zip(self.layers, self.firsts, self.gone, strict=True):
            row = layer.row_of(case)
            if row is not None and row not in gone:
                return int(first) + row
        return None

    def weights_of(self, rows: Sequence[int]) -> NDArray[np.float64]:
        """Return the weights of cases as witnesses."""
        parts = (self.part_of(row) for row in rows)
        return np.array([self.layers[at].weights_[row] for at, row in parts], np.float64)

    def joined(self, column: Callable[[CaseIndex], NDArray[Any]], away: Any) -> NDArray[Any]:
        """Return a column of all layers; ``away`` where a case is gone."""
        found = np.concatenate([column(layer) for layer in self.layers])
        for first, gone in zip(self.firsts, self.gone, strict=True):
            found[first + gone] = away
        return found

    @cached_property
    def later(self) -> int:
        """How many cases came, changed or went since the base was fitted."""
        new = {self.ids_[row] for row in self.later_rows()}
        return len(new | {self.base.ids_[row] for row in self.gone[0]})

    def later_rows(self) -> list[int]:
        """Return the rows of the later layers that are there, ascending."""
        later = zip(self.layers[1:], self.firsts[1:], self.gone[1:], strict=True)
        return [
            first + row
            for layer, first, gone in later
            for row in sorted({*range(len(layer))} - {*gone.tolist()})
        ]

    @cached_property
    def _places(self) -> NDArray[np.float64]:
        """Return where the later cases stand between those of the base, in order of case ids."""
        ids = [case for layer in self.layers[1:] for case in layer.ids_]
        before = np.array([bisect_left(self.base.ids_, case) for case in ids], np.float64)
        ranks = np.empty(len(ids))
        ranks[sorted(range(len(ids)), key=ids.__getitem__)] = np.arange(1, len(ids) + 1)
        return before - 1 + ranks / (len(ids) + 1)

    def order(self, rows: Rows) -> NDArray[Any]:
        """Return what orders rows as their case ids do."""
        late = rows >= self.firsts[1] if len(self.firsts) > 1 else np.zeros(len(rows), np.bool_)
        if not late.any():
            return rows
        order = rows.astype(np.float64)
        order[late] = self._places[rows[late] - self.firsts[1]]
        return order

    # --- growing --------------------------------------------------------------------------------

    def changed(self, cases: Sequence[CaseFeatures], touched: Iterable[str]) -> "LayeredIndex":
        """Return the index after a write.

        Parameters
        ----------
        cases : sequence of CaseFeatures
            Those of the touched cases that are there now.
        touched : iterable of str
            Ids of all cases that were written; those not among ``cases`` are there no longer.
        """
        ids = list(touched)
        gone = [
            np.union1d(gone, _rows_of(layer, ids))
            for layer, gone in zip(self.layers, self.gone, strict=True)
        ]
        later = list(self.layers[1:])
        fresh = list(cases)
        while later and fresh and len(later[-1]) <= _SWALLOWS * len(fresh):
            layer, away = later.pop(), set(gone.pop().tolist())
            assert isinstance(layer, Layer)
            fresh += [case for row, case in enumerate(layer.cases) if row not in away]
        if fresh:
            later.append(Layer(self.base).fit(fresh))
            gone.append(_NONE)
        return LayeredIndex(self.base, cast(list[Layer], later), gone=gone)

    # --- answers --------------------------------------------------------------------------------

    def search(self, query: CaseFeatures, *, top: int = 10) -> tuple[Match, ...]:
        """Return the ``top`` best cases, see ``CaseIndex.search``.

        Raises
        ------
        EmptyIndexError
            If there is no case.
        """
        if not len(self):
            raise EmptyIndexError(NO_CASE)
        return self.ask(query).best(top)

    def ask(self, query: CaseFeatures) -> "LayeredAsked":
        """Return the evidence of ``query`` for every case."""
        words = [layer.words_of(query) for layer in self.layers]
        texts = [layer.text_evidence(own) for layer, own in zip(self.layers, words, strict=True)]
        for text, gone in zip(texts, self.gone, strict=True):
            # Whatever else speaks for a case that is gone, it stays there.
            text.weights[gone] = -np.inf
        near = self._nearest(query, texts)
        scores = np.zeros(self.size, np.float32)
        parts: list[Asked] = []
        for at, layer in enumerate(self.layers):
            first = self.firsts[at]
            total = scores[first : first + len(layer)]
            parts.append(layer.asked(query, words[at], texts[at], near=near[at], total=total))
        return LayeredAsked(
            index=self, query=query, layers=tuple(parts), scores=scores, near=tuple(near)
        )

    def _nearest(self, query: CaseFeatures, texts: Sequence[OfAll]) -> list[Rows]:
        """Return the nearest texts of all layers, by layer."""
        found = [
            layer.nearest_texts(query, text) for layer, text in zip(self.layers, texts, strict=True)
        ]
        weights = np.concatenate(
            [text.weights[rows] for text, rows in zip(texts, found, strict=True)]
        )
        rows = np.concatenate(
            [first + rows for first, rows in zip(self.firsts, found, strict=True)]
        )
        best = np.lexsort((self.order(rows), -weights))[:MOST_CONTRARY]
        kept = [self.part_of(int(row)) for row in rows[best]]
        return [
            np.array([row for at, row in kept if at == number], np.int64)
            for number in range(len(self.layers))
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class LayeredAsked(Ranked):
    """One query held against every case of all layers; ``scores`` in nats, ``-inf`` where gone.

    ``near`` holds the rows of the nearest texts, by layer.
    """

    index: LayeredIndex
    query: CaseFeatures
    layers: tuple[Asked, ...]
    scores: Floats
    near: tuple[Rows, ...] = ()

    def best(self, top: int, among: Collection[str] | None = None) -> tuple[Match, ...]:
        """Return the ``top`` best cases, see ``Asked.best``."""
        return self.matches(self.best_rows(top, among))

    def matches(self, rows: Sequence[int]) -> tuple[Match, ...]:
        """Return the cases in ``rows`` with their reasons, in that order."""
        places = [self.index.part_of(row) for row in rows]
        found: dict[tuple[int, int], Match] = {}
        for at, first in enumerate(self.index.firsts):
            own = [row for layer, row in places if layer == at]
            for match in self.layers[at].matches(own) if own else ():
                found[at, match.row] = replace(match, row=first + match.row)
        return tuple(found[place] for place in places)


def _rows_of(layer: CaseIndex, cases: Iterable[str]) -> Rows:
    """Return the rows of those cases that a layer holds, ascending."""
    rows = (layer.row_of(case) for case in cases)
    return np.array(sorted(row for row in rows if row is not None), np.int64)
