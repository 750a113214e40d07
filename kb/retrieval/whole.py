"""What everything is worth among all cases, without the cases: shards of them score alike by it."""

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from typing_extensions import override

from kb.retrieval.features import OBSERVED, Token
from kb.retrieval.field_values import FieldValues
from kb.retrieval.index import CaseIndex
from kb.retrieval.learned import Learned, Usual
from kb.retrieval.moments import NEVER, Copied, Scale
from kb.retrieval.postings import Postings
from kb.retrieval.similarity import READING_CORRELATION
from kb.retrieval.texts import Rarities
from kb.retrieval.worth import FieldWorth

_NO_SCORES: Final = np.zeros(0, np.float32)


@dataclass(frozen=True, slots=True)
class KnownTexts:
    """How rare words are, in place of the texts of the cases."""

    rarities: Rarities


@dataclass(frozen=True, slots=True)
class KnownFields:
    """What was learned of the closed fields, and the average case, in place of the cases."""

    learned: Learned
    usual: Mapping[str, Usual]


class Whole(FieldWorth):
    """The worth of everything in an index of all cases: what a ``Layer`` takes for its base.

    It can be pickled and holds no posting of any case. Of a quantity it holds all recorded values
    in order, because the normal score of one is its rank among them.

    Parameters
    ----------
    index : CaseIndex
        Fitted, with what was learned attached.
    """

    def __init__(self, index: CaseIndex) -> None:
        super().__init__()
        self.n_cases = len(index.ids_)
        self.text_weight, self.part_weights = index.text_weight, dict(index.part_weights)
        self.texts_ = KnownTexts(_plain(index.texts_.rarities))
        fields = index.stored_fields
        self.stored_fields = KnownFields(fields.learned, dict(fields.usual)) if fields else None
        self.values_of_ = FieldValues(sorted(index.tokens_.keys))
        self._counts = {key: len(index.tokens_.of(key)) for key in index.tokens_.keys}
        self._recorded = {key: index.fields_.count(key) for key in index.fields_.keys}
        self._copied = {key: index.copied(key) for key in index.tokens_.keys}
        self._rates = {
            field: index.copy_rate(field)
            for field in index.values_of_
            if field.startswith(OBSERVED)
        }
        self._scales = {key: _without_scores(index.scale(key)) for key in index.measures_.keys}
        none = np.zeros(0)
        self._no_scale = Scale(
            population=none,
            centred=none,
            scores=_NO_SCORES,
            offsets={},
            correlation=READING_CORRELATION,
        )

    @override
    def scale(self, key: str) -> Scale:
        return self._scales.get(key, self._no_scale)

    @override
    def copy_rate(self, field: str) -> float:
        return self._rates.get(field, READING_CORRELATION)

    @override
    def copied(self, key: str) -> Copied:
        return self._copied.get(key, NEVER)

    @override
    def often(self, token: Token) -> tuple[int, int]:
        return self._counts.get(token.key, 0), self.n_cases

    @override
    def recorded(self, field: str) -> int:
        return self._recorded.get(field, 0)


def _without_scores(scale: Scale) -> Scale:
    return replace(
        scale,
        population=np.asarray(scale.population),
        centred=np.asarray(scale.centred),
        scores=_NO_SCORES,
        offsets=dict(scale.offsets),
    )


def _plain(known: Rarities) -> Rarities:
    return Rarities(dict(known.words), np.array(known.idf), known.n_cases)


def counted(index: CaseIndex) -> CaseIndex:
    """Return an index with all that is counted of its cases and nothing of their texts.

    Causes, tokens, readings and closed fields stay, and how rare words are; it is what chances of
    causes and ``Whole`` are reckoned from where shards hold the texts.
    """
    made = copy(index)
    made.texts_ = index.texts_.without_cases()
    made.stated_ = ("",) * len(index.ids_)
    made.words_ = Postings({}, np.zeros(1, np.int32), np.zeros(0, np.int32))
    if index.stored_fields is not None:
        # Spellings stay: cases that are laid over it later count by them.
        made.stored_fields = made._stored(index.stored_fields.learned)  # noqa: SLF001 - its class
    return made
