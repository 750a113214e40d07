"""What the tokens and the readings of a query give the cases that have something in their place."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.retrieval.asked import Alike, Evidence, OfSome
from kb.retrieval.features import CaseFeatures, Token, token_key
from kb.retrieval.field_rows import FEW_VALUES
from kb.retrieval.measures import Measure
from kb.retrieval.pages import any_is_cold, fetch
from kb.retrieval.postings import Rows
from kb.retrieval.remembered import Remembered
from kb.retrieval.similarity import PART_GROUP, reading_agreement
from kb.retrieval.worth import FieldWorth

Floats = NDArray[np.float32]

_NONE = np.zeros(0, np.int32)
# Fields of questions of which is remembered what they give, some 2 kB each (our choice).
_MOST_REMEMBERED: Final = 1_024


def _any_of(lists: Sequence[Rows]) -> Rows:
    """Return all rows of several lists, ascending, each once."""
    if len(lists) < 2:
        return lists[0] if lists else _NONE
    return np.unique(np.concatenate(lists))


class FieldEvidence(FieldWorth):
    """The postings of all that is not text, held against a query.

    Parameters
    ----------
    part_weights : mapping
        Weight of each group of parts, see ``kb.retrieval.weigh``; those not named weigh 1.
    """

    def __init__(self, part_weights: Mapping[str, float]) -> None:
        super().__init__()
        self.weigh_by(part_weights)

    def weigh_by(self, part_weights: Mapping[str, float]) -> None:
        """Let the parts of the evidence have these weights."""
        self.part_weights = part_weights
        # What the tokens of one field give follows from them, the cases and the weights alone.
        self._given = Remembered[tuple[Token, ...], tuple[Evidence, ...]](_MOST_REMEMBERED)

    def weight_of(self, part: str) -> float:
        """Return what a kind of evidence weighs."""
        return self.part_weights.get(PART_GROUP[part], 1.0)

    def fetch_for(self, query: CaseFeatures) -> None:
        """Tell the machine which tokens and readings are looked through for a query."""
        if not any_is_cold():
            return
        for token in query.tokens:
            fetch(self.tokens_.of(token.key), *self._lists_of(token.field).values())
        for measure in query.measures:
            if measure.key in self.measures_.keys:
                fetch(self.measures_.of(measure.key), self.reading_scores(measure.key))

    def field_evidence(self, tokens: Sequence[Token]) -> tuple[Evidence, ...]:
        """Return what the tokens of one field give: agreement, or one conflict where none agrees."""
        key = tuple(tokens)
        found = self._given.get(key)
        if found is None:
            found = tuple(self._field_evidence(tokens))
            # What has weights of its own is as long as its list, which may be that of all cases.
            if all(isinstance(row, Alike) for row in found):
                self._given.keep(key, found)
        return found

    def _field_evidence(self, tokens: Sequence[Token]) -> Iterator[Evidence]:
        agreeing = []
        for token in tokens:
            same = self.tokens_.of(token.key)
            if len(same):
                agreeing.append(same)
                weight = self.weight_of(token.part) * self.agreement(token)
                having, cases = self.often(token)
                what = f"{token.what} (in {having} of {cases} cases)"
                yield Alike(part=token.part, what=what, rows=same, weight=weight)
        but = _any_of(agreeing)
        if self.fields_.count(tokens[0].field) > len(but):
            yield from self._conflict_evidence(tokens, but)

    def _conflict_evidence(self, tokens: Sequence[Token], but: Rows) -> Iterator[Evidence]:
        """Yield what a field takes off the cases that have none of the values asked.

        Nothing is added and taken off again, which would leave a last digit behind.

        Parameters
        ----------
        tokens : sequence of Token
            All of the field.
        but : array of int
            Rows of the cases that have one of them.
        """
        first = tokens[0]
        weight = float(np.float32(self.weight_of(first.part) * self.conflict(first)))
        what = f"{first.what}; otherwise there"
        lists = self._lists_of(first.field)
        # No case has two values of the field.
        if lists and sum(map(len, lists.values())) == self.fields_.count(first.field):
            asked = {token.value for token in tokens}
            for value, others in lists.items():
                if value not in asked:
                    yield Alike(part=first.part, what=what, rows=others, weight=weight)
            return
        rows = self.fields_.of(first.field)
        weights = np.full(len(rows), weight, np.float32)
        weights[np.searchsorted(rows, but)] = 0
        yield OfSome(part=first.part, what=what, rows=rows, weights=weights)

    def _lists_of(self, field: str) -> dict[str, Rows]:
        """Return the rows of each value of a field, none of a field of many values."""
        values = self.values_of_.get(field, ())
        if len(values) > FEW_VALUES:
            return {}
        return {value: self.tokens_.of(token_key(field, value)) for value in values}

    def measure_evidence(self, measure: Measure, group: str) -> OfSome | None:
        """Return what a reading gives, taken in a vehicle of ``group``; None where too few have it."""
        rows = self.measures_.of(measure.key)
        scale = self.scale(measure.key)
        if not scale.usable:
            return None
        query = self.score(measure, group)
        weights = reading_agreement(query, self.reading_scores(measure.key), scale.correlation)
        if (weight := self.weight_of("reading")) != 1:
            weights *= np.float32(weight)
        return OfSome(
            part="reading", what=measure.what, rows=rows, weights=weights, measure=measure
        )

    def reading_scores(self, key: str) -> Floats:
        """Return the normal score of each value of measure ``key``, in the order of its rows."""
        return self.scale(key).scores
