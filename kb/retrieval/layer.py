"""One later layer over an index, and columns that run on through several."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray
from typing_extensions import override

from kb.retrieval.feature_table import FeatureTable
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex
from kb.retrieval.kept_arrays import Arrays
from kb.retrieval.learned import Learned, StoredFields
from kb.retrieval.moments import Scale
from kb.retrieval.texts import Rarities

if TYPE_CHECKING:
    from kb.retrieval.whole import Whole

Floats = NDArray[np.float32]
Part = TypeVar("Part")


class Layer(CaseIndex):
    """Cases beside those of ``base``, with everything worth what it is worth there."""

    def __init__(self, base: "CaseIndex | Whole") -> None:
        super().__init__(text_weight=base.text_weight, part_weights=base.part_weights)
        self.base = base
        self._scores: dict[str, Floats] = {}

    @override
    def fit(self, cases: Sequence[CaseFeatures]) -> "Layer":
        self.fit_tables([FeatureTable.of(cases)])
        self.cases = tuple(sorted(cases, key=lambda case: case.case))
        return self

    @override
    def fit_tables(self, tables: Iterable[FeatureTable]) -> "Layer":
        super().fit_tables(tables)
        return self.attached()

    def attached(self) -> "Layer":
        """Let the closed fields count as they do in the base."""
        if self.base.stored_fields is not None:
            self.attach(self.base.stored_fields.learned)
        return self

    @override
    def _stored(self, learned: Learned) -> StoredFields:
        base = self.base.stored_fields
        usual = base.usual if base is not None else None
        return StoredFields(learned, self.labels_, self.words_, usual=usual)

    @override
    def _like(self) -> Rarities:
        return self.base.texts_.rarities

    @override
    def scale(self, key: str) -> Scale:
        return self.base.scale(key)

    @override
    def worth_arrays(self) -> Arrays:
        return {}

    @override
    def agreement(self, token: Token) -> float:
        return self.base.agreement(token)

    @override
    def conflict(self, token: Token) -> float:
        return self.base.conflict(token)

    @override
    def often(self, token: Token) -> tuple[int, int]:
        return self.base.often(token)

    @override
    def reading_scores(self, key: str) -> Floats:
        if key not in self._scores:
            values = self.values_[self.measures_.span(key)]
            groups = [self.groups_[row] for row in self.measures_.of(key)]
            self._scores[key] = self.scale(key).score_all(values, groups).astype(np.float32)
        return self._scores[key]


@dataclass(frozen=True, slots=True)
class Joined(Sequence[Part], Generic[Part]):
    """Columns of several layers, one after the other."""

    columns: tuple[Sequence[Part], ...]
    firsts: tuple[int, ...]

    @override
    def __len__(self) -> int:
        return self.firsts[-1] + len(self.columns[-1])

    @override
    def __getitem__(self, row: Any) -> Any:
        at = layer_of(self.firsts, row)
        return self.columns[at][row - self.firsts[at]]

    @override
    def __iter__(self) -> Iterator[Part]:
        for column in self.columns:
            yield from column


def layer_of(firsts: Sequence[int], row: int) -> int:
    """Return the number of the layer in which a row lies."""
    at = len(firsts) - 1
    while firsts[at] > row:
        at -= 1
    return at
