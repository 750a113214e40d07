"""Exact search over all cases: everything is a posting list, every match carries its parts."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kb.case.contraries import contrary_share
from kb.errors import EmptyIndexError
from kb.retrieval.analyzer import char_terms, word_terms
from kb.retrieval.asked import Asked, Evidence, top_rows
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.learned import Learned, StoredFields, label_key
from kb.retrieval.measures import Measure
from kb.retrieval.moments import LEAST_VALUES
from kb.retrieval.postings import gather
from kb.retrieval.similarity import (
    CONTRARY_WEIGHT,
    LEAST_NEAR,
    MOST_CONTRARY,
    MOST_STATED,
    PART_GROUP,
    TEXT_SHARE,
    TEXT_WEIGHT,
    WORD_SHARE,
    Match,
    reading_agreement,
)
from kb.retrieval.spelling import spelled_words
from kb.retrieval.vectors import TextQuery, fit_columns
from kb.retrieval.worth import FieldWorth

Floats = NDArray[np.float64]

ANALYZERS = {"word": word_terms, "char": char_terms}
TEXTS = ("said", "told")

_CONTRARY = "the same words about contrary facts there"
NO_CASE = (
    "expected at least 1 closed case to search, got 0; close a job or run 'baybook demo' first"
)


def query_text(query: CaseFeatures) -> str:
    """Return all words of a query: what came in, and what is known of it by now."""
    return query.said if not query.told else f"{query.said}\n{query.told}"


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
        ``stated_`` by row, ``spaces_``, ``fields_`` and ``tokens_`` (rows by field, by field and value), ``labels_`` (by
        closed field and value) and ``measures_`` (rows by quantity, with ``values_``).
        """
        ordered = sorted(cases, key=lambda case: case.case)
        self.ids_ = tuple(case.case for case in ordered)
        self.causes_ = tuple(case.cause for case in ordered)
        self.standings_ = tuple(case.standing for case in ordered)
        self.origins_ = tuple(case.origin for case in ordered)
        self.groups_ = tuple(case.group for case in ordered)
        self.weights_: Floats = np.array([case.weight for case in ordered], np.float64)
        self.stated_ = tuple(case.said for case in ordered)
        columns = [[getattr(case, text) for case in ordered] for text in TEXTS]
        self.spaces_ = {
            (text, kind): space
            for kind in ANALYZERS
            for text, space in zip(TEXTS, fit_columns(ANALYZERS[kind], columns), strict=True)
        }
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
        self.values_: Floats = np.array([rows[at][1].value for at in order], np.float64)

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

    def text_queries(self, query: CaseFeatures) -> dict[tuple[str, str], TextQuery]:
        """Return the known terms of what a query says and tells, as words and as characters."""
        return {
            (text, kind): self.spaces_[text, kind].query(getattr(query, text))
            for text in TEXTS
            for kind in ANALYZERS
            if getattr(query, text).strip()
        }

    def _cosines(
        self, queries: Mapping[tuple[str, str], TextQuery]
    ) -> dict[tuple[str, str], Floats]:
        """Return the cosine of each text of a query with each text of every case."""
        found = {pair: np.zeros(len(self.ids_)) for pair in TEXT_SHARE}
        for (asked, kind), query in queries.items():
            share = WORD_SHARE if kind == "word" else 1 - WORD_SHARE
            for stored in TEXTS:
                found[asked, stored] += share * self.spaces_[stored, kind].cosine(query)
        return found

    def _text_evidence(self, cosines: Mapping[tuple[str, str], Floats]) -> Evidence:
        total = np.zeros(len(self.ids_))
        for pair, cosine in cosines.items():
            total += TEXT_SHARE[pair] * cosine
        rows = np.arange(len(self.ids_))
        return Evidence(part="text", what="words", rows=rows, weights=self.text_weight * total)

    def _contrary_evidence(self, query: CaseFeatures, cosine: Floats) -> Iterator[Evidence]:
        """Yield what the same words about contrary facts take off, among the nearest texts."""
        if len(query.said.split()) > MOST_STATED:
            return
        near = np.sort([row for row in top_rows(cosine, MOST_CONTRARY) if cosine[row] > LEAST_NEAR])
        shares = np.array([contrary_share(query.said, self.stated_[int(row)]) for row in near])
        rows = np.flatnonzero(shares)
        weights = -CONTRARY_WEIGHT * shares[rows]
        if len(rows):
            rows = near[rows].astype(np.int64)
            yield Evidence(part="contrary", what=_CONTRARY, rows=rows, weights=weights)

    def _field_evidence(self, tokens: Sequence[Token]) -> Iterator[Evidence]:
        """Yield what the tokens of one field give: agreement, or one conflict where none agrees."""
        first, with_field = tokens[0], self.fields_.of(tokens[0].field)
        if not len(with_field):
            return
        apart = np.ones(len(with_field), np.bool_)
        for token in tokens:
            same = self.tokens_.of(token.key)
            apart[np.searchsorted(with_field, same)] = False
            weights = np.full(len(same), self.agreement(token) if len(same) else 0.0)
            yield Evidence(
                part=token.part, what=token.what, rows=same, weights=weights, shared_by=len(same)
            )
        rows = with_field[apart]
        weights = np.full(len(rows), self.conflict(first))
        yield Evidence(part=first.part, what=first.what, rows=rows, weights=weights)

    def _measure_evidence(self, measure: Measure, group: str) -> Evidence | None:
        rows = self.measures_.of(measure.key)
        if len(rows) < LEAST_VALUES:
            return None
        scale = self.scale(measure.key)
        query = scale.score(measure.value, group)
        weights = reading_agreement(query, scale.scores, scale.correlation)
        return Evidence(
            part="reading", what=measure.what, rows=rows, weights=weights, measure=measure
        )

    def _evidence(
        self, query: CaseFeatures, texts: Mapping[tuple[str, str], TextQuery]
    ) -> tuple[Evidence, ...]:
        cosines = self._cosines(texts)
        found = [self._text_evidence(cosines)]
        found += self._contrary_evidence(query, cosines["said", "said"])
        by_field: dict[str, list[Token]] = {}
        for token in query.tokens:
            by_field.setdefault(token.field, []).append(token)
        told = (row for tokens in by_field.values() for row in self._field_evidence(tokens))
        found += [row for row in told if len(row.rows)]
        read = (self._measure_evidence(row, query.group) for row in query.measures)
        found += [e for e in read if e is not None]
        found += self._learned_evidence(query)
        return tuple(map(self._weighed, found))

    def _weighed(self, evidence: Evidence) -> Evidence:
        weight = self.part_weights.get(PART_GROUP[evidence.part], 1.0)
        return evidence if weight == 1.0 else replace(evidence, weights=weight * evidence.weights)

    def _learned_evidence(self, query: CaseFeatures) -> list[Evidence]:
        if self.stored_fields is None:
            return []
        text = query_text(query)
        found = [
            Evidence(part="learned", what=name, rows=rows, weights=nats, key=name)
            for name, rows, nats in self.stored_fields.evidence(text)
        ]
        spelled = self.stored_fields.spelling(text)
        if spelled is not None:
            rows, nats = spelled
            found.append(Evidence(part="spelling", what=text, rows=rows, weights=nats))
        return found

    # --- answers ------------------------------------------------------------------------------

    def scores(self, query: CaseFeatures) -> Floats:
        """Return the score of every case in nats, shape ``(n_cases,)``, in row order."""
        return self.ask(query).scores

    def _add(self, parts: Sequence[Evidence]) -> Floats:
        total = np.zeros(len(self.ids_))
        for part in parts:
            total[part.rows] += part.weights
        return total

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
        texts = self.text_queries(query)
        parts = self._evidence(query, texts)
        return Asked(index=self, query=query, texts=texts, parts=parts, scores=self._add(parts))
