"""Exact search over all cases: everything is a posting list, every match carries its parts."""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from kb.case.contraries import contrary_share
from kb.errors import EmptyIndexError
from kb.retrieval.asked import Alike, Asked, Evidence, OfAll, OfSome, top_rows
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.learned import Learned, StoredFields, label_key
from kb.retrieval.measures import Measure
from kb.retrieval.moments import LEAST_VALUES
from kb.retrieval.postings import Rows, gather
from kb.retrieval.similarity import (
    CONTRARY_WEIGHT,
    LEAST_NEAR,
    MOST_CONTRARY,
    MOST_STATED,
    PART_GROUP,
    TEXT_SHARE,
    TEXT_WEIGHT,
    Match,
    reading_agreement,
)
from kb.retrieval.spelling import spelled_words
from kb.retrieval.texts import AskedWords, CaseTexts
from kb.retrieval.worth import FieldWorth

Floats = NDArray[np.float32]

TEXTS = ("said", "told")
_NONE = np.zeros(0, np.int32)

_CONTRARY = "the same words about contrary facts there"
NO_CASE = (
    "expected at least 1 closed case to search, got 0; close a job or run 'baybook demo' first"
)


def query_text(query: CaseFeatures) -> str:
    """Return all words of a query: what came in, and what is known of it by now."""
    return query.said if not query.told else f"{query.said}\n{query.told}"


def _any_of(lists: Sequence[Rows]) -> Rows:
    """Return all rows of several lists, ascending, each once."""
    if len(lists) < 2:
        return lists[0] if lists else _NONE
    return np.unique(np.concatenate(lists))


class CaseIndex(FieldWorth):
    """Postings of all cases; ``fit`` learns, ``search`` answers exactly.

    Parameters
    ----------
    text_weight : float
        Nats for a text cosine of 1.
    part_weights : mapping or None
        Weight of each group of parts, see ``kb.retrieval.weigh``; those not named weigh 1.
    """

    def __init__(
        self, *, text_weight: float = TEXT_WEIGHT, part_weights: Mapping[str, float] | None = None
    ) -> None:
        super().__init__()
        self.text_weight = text_weight
        self.part_weights: Mapping[str, float] = part_weights or {}
        self.stored_fields: StoredFields | None = None

    def fit(self, cases: Sequence[CaseFeatures]) -> "CaseIndex":
        """Take in all cases; row numbers follow the order of case ids.

        Sets ``ids_``, ``causes_``, ``standings_``, ``origins_``, ``groups_``, ``weights_``,
        ``stated_`` by row, ``texts_``, ``fields_`` and ``tokens_`` (rows by field, by field and value), ``labels_`` (by
        closed field and value) and ``measures_`` (rows by quantity, with ``values_``).
        """
        ordered = sorted(cases, key=lambda case: case.case)
        self.ids_ = tuple(case.case for case in ordered)
        self.causes_ = tuple(case.cause for case in ordered)
        self.standings_ = tuple(case.standing for case in ordered)
        self.origins_ = tuple(case.origin for case in ordered)
        self.groups_ = tuple(case.group for case in ordered)
        self.weights_ = np.array([case.weight for case in ordered], np.float64)
        self.stated_ = tuple(case.said for case in ordered)
        self.texts_ = CaseTexts.fit([[getattr(case, text) for case in ordered] for text in TEXTS])
        self._fit_tokens(ordered)
        self._fit_measures(ordered)
        return self

    def _fit_tokens(self, cases: Sequence[CaseFeatures]) -> None:
        self.fields_, _ = gather(
            (field, row)
            for row, case in enumerate(cases)
            for field in dict.fromkeys(token.field for token in case.tokens)
        )
        self.tokens_, _ = gather(
            (token.key, row) for row, case in enumerate(cases) for token in case.tokens
        )

        self.labels_, _ = gather(
            (label_key(*label), row) for row, case in enumerate(cases) for label in case.labels
        )
        self.words_, _ = gather(
            (word, row)
            for row, case in enumerate(cases)
            for word in dict.fromkeys(spelled_words(case.said))
        )

    def _fit_measures(self, cases: Sequence[CaseFeatures]) -> None:
        rows = [(row, measure) for row, case in enumerate(cases) for measure in case.measures]
        self.measures_, order = gather((measure.key, row) for row, measure in rows)
        self.values_ = np.array([rows[at][1].value for at in order], np.float64)

    def attach(self, learned: Learned | None) -> "CaseIndex":
        """Let the closed fields of the cases count, as ``learned`` reads them off a query.

        The parts of the evidence then have the weights that were fitted with them, else 1.
        """
        self.part_weights = learned.parts if learned is not None else {}
        self.stored_fields = (
            StoredFields(learned, self.labels_, self.words_) if learned is not None else None
        )
        return self

    # --- parts of a query ---------------------------------------------------------------------

    def _weight(self, part: str) -> float:
        return self.part_weights.get(PART_GROUP[part], 1.0)

    def _text_evidence(self, words: AskedWords) -> OfAll:
        cosines = self.texts_.cosines(words)
        cosines *= np.float32(self.text_weight * TEXT_SHARE * self._weight("text"))
        return OfAll(part="text", what="words", weights=cosines)

    def _contrary_evidence(self, query: CaseFeatures, text: OfAll) -> Iterator[OfSome]:
        """Yield what the same words about contrary facts take off, among the nearest texts."""
        if len(query.said.split()) > MOST_STATED:
            return
        least = LEAST_NEAR * self.text_weight * self._weight("text")
        best = top_rows(text.weights, MOST_CONTRARY)
        near = np.sort(best[text.weights[best] > least])
        shares = np.array([contrary_share(query.said, self.stated_[int(row)]) for row in near])
        rows = np.flatnonzero(shares)
        if len(rows):
            weights = -CONTRARY_WEIGHT * self._weight("contrary") * shares[rows]
            yield OfSome(
                part="contrary",
                what=_CONTRARY,
                rows=near[rows].astype(np.int32),
                weights=weights.astype(np.float32),
            )

    def _field_evidence(self, tokens: Sequence[Token]) -> Iterator[Alike]:
        """Yield what the tokens of one field give: agreement, or one conflict where none agrees."""
        first, with_field = tokens[0], self.fields_.of(tokens[0].field)
        lists = [(token, self.tokens_.of(token.key)) for token in tokens]
        agreeing = [same for _, same in lists if len(same)]
        for token, same in lists:
            if len(same):
                weight = self._weight(token.part) * self.agreement(token)
                yield Alike(part=token.part, what=token.what, rows=same, weight=weight)
        but = _any_of(agreeing)
        if len(with_field) > len(but):
            weight = self._weight(first.part) * self.conflict(first)
            what, part = first.what, first.part
            yield Alike(part=part, what=what, rows=with_field, weight=weight, but=but)

    def _measure_evidence(self, measure: Measure, group: str) -> OfSome | None:
        rows = self.measures_.of(measure.key)
        if len(rows) < LEAST_VALUES:
            return None
        scale = self.scale(measure.key)
        query = scale.score(measure.value, group)
        weights = reading_agreement(query, scale.scores, scale.correlation)
        weights *= np.float32(self._weight("reading"))
        return OfSome(
            part="reading", what=measure.what, rows=rows, weights=weights, measure=measure
        )

    def _evidence(self, query: CaseFeatures, words: AskedWords) -> tuple[Evidence, ...]:
        text = self._text_evidence(words)
        found: list[Evidence] = [text, *self._contrary_evidence(query, text)]
        by_field: dict[str, list[Token]] = {}
        for token in query.tokens:
            by_field.setdefault(token.field, []).append(token)
        found += (row for tokens in by_field.values() for row in self._field_evidence(tokens))
        read = (self._measure_evidence(row, query.group) for row in query.measures)
        found += [e for e in read if e is not None]
        found += self._learned_evidence(query)
        return tuple(found)

    def _learned_evidence(self, query: CaseFeatures) -> Iterator[OfSome]:
        if self.stored_fields is None:
            return
        text = query_text(query)
        for name, rows, nats in self.stored_fields.evidence(text):
            weights = (self._weight("learned") * nats).astype(np.float32)
            yield OfSome(part="learned", what=name, rows=rows, weights=weights)
        spelled = self.stored_fields.spelling(text)
        if spelled is not None:
            rows, nats = spelled
            weights = (self._weight("spelling") * nats).astype(np.float32)
            yield OfSome(part="spelling", what=text, rows=rows, weights=weights)

    # --- answers ------------------------------------------------------------------------------

    def scores(self, query: CaseFeatures) -> Floats:
        """Return the score of every case in nats, shape ``(n_cases,)``, in row order."""
        return self.ask(query).scores

    def ranked(self, query: CaseFeatures, *, top: int) -> tuple[str, ...]:
        """Return the ids of the ``top`` best cases, best first, ties by case id."""
        return tuple(self.ids_[row] for row in top_rows(self.scores(query), top))

    def search(self, query: CaseFeatures, *, top: int = 10) -> tuple[Match, ...]:
        """Return the ``top`` best cases, best first, ties by case id; the query itself left out.

        Raises
        ------
        EmptyIndexError
            If there is no case.
        """
        if not self.ids_:
            raise EmptyIndexError(NO_CASE)
        return self.ask(query).best(top)

    def ask(self, query: CaseFeatures) -> Asked:
        """Return the evidence of ``query`` for every case, to be read in several ways."""
        words = self.texts_.ask((query.said, query.told))
        parts = self._evidence(query, words)
        total = np.zeros(len(self.ids_), np.float32)
        for part in parts:
            part.add_to(total)
        return Asked(index=self, query=query, words=words, parts=parts, scores=total)
