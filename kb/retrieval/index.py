"""Exact search over all cases: everything is a posting list, every match carries its parts."""

from collections.abc import Mapping, Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from kb.errors import EmptyIndexError
from kb.retrieval.analyzer import char_terms, word_terms
from kb.retrieval.asked import Asked, Evidence, top_rows
from kb.retrieval.features import CaseFeatures, Measure, Token, token_key
from kb.retrieval.learned import Learned, StoredFields, label_key
from kb.retrieval.moments import LEAST_VALUES, Codes, Scale, fit_scale, shrunk_copy_rate
from kb.retrieval.postings import gather
from kb.retrieval.similarity import (
    COPY_RATE,
    SAID_SHARE,
    TEXT_WEIGHT,
    WORD_SHARE,
    Match,
    reading_agreement,
    token_agreement,
    token_conflict,
)
from kb.retrieval.spelling import spelled_words
from kb.retrieval.vectors import TextQuery, TextSpace

Floats = NDArray[np.float64]

ANALYZERS = {"word": word_terms, "char": char_terms}

NO_CASE = (
    "expected at least 1 closed case to search, got 0; close a job or run 'baybook demo' first"
)


def query_text(query: CaseFeatures) -> str:
    """Return all words of a query: what came in, and what is known of it by now."""
    return query.said if not query.told else f"{query.said}\n{query.told}"


class CaseIndex:
    """Postings of all cases; ``fit`` learns, ``search`` answers exactly.

    Parameters
    ----------
    text_weight : float
        Nats for a text cosine of 1.
    """

    def __init__(self, *, text_weight: float = TEXT_WEIGHT) -> None:
        self.text_weight = text_weight
        self._scales: dict[str, Scale] = {}
        self._rates: dict[str, float] = {}
        self.stored_fields: StoredFields | None = None

    def fit(self, cases: Sequence[CaseFeatures]) -> "CaseIndex":
        """Take in all cases; row numbers follow the order of case ids.

        Sets ``ids_``, ``causes_``, ``standings_``, ``groups_``, ``weights_`` by row, ``spaces_``,
        ``fields_`` and ``tokens_`` (rows by field, by field and value), ``labels_`` (by closed field
        and value) and ``measures_`` (rows by quantity, with ``values_`` and ``texts_``).
        """
        ordered = sorted(cases, key=lambda case: case.case)
        self.ids_ = tuple(case.case for case in ordered)
        self.causes_ = tuple(case.cause for case in ordered)
        self.standings_ = tuple(case.standing for case in ordered)
        self.groups_ = tuple(case.group for case in ordered)
        self.weights_: Floats = np.array([case.weight for case in ordered], np.float64)
        self.spaces_ = {
            (text, kind): TextSpace(analyzer).fit([getattr(case, text) for case in ordered])
            for text in ("said", "told")
            for kind, analyzer in ANALYZERS.items()
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
        self.texts_ = tuple(rows[at][1].what for at in order)

    # --- what the fields are worth, reckoned when first asked for ------------------------------

    @cached_property
    def cause_codes_(self) -> Codes:
        """Number of the cause of each case in order of names, -1 for none."""
        at = {name: i for i, name in enumerate(sorted({c for c in self.causes_ if c is not None}))}
        return np.array([at.get(c, -1) if c is not None else -1 for c in self.causes_], np.int64)

    @cached_property
    def values_of_(self) -> dict[str, tuple[str, ...]]:
        """All recorded values of each field, in order."""
        found: dict[str, list[str]] = {}
        for key in sorted(self.tokens_.keys):
            field, _, value = key.partition("\t")
            found.setdefault(field, []).append(value)
        return {field: tuple(values) for field, values in found.items()}

    def scale(self, key: str) -> Scale:
        """Return how values of measure ``key`` become normal scores, and their correlation."""
        if key not in self._scales:
            rows = self.measures_.of(key)
            self._scales[key] = fit_scale(
                self.values_[self.measures_.span(key)],
                self.cause_codes_[rows],
                groups=tuple(self.groups_[row] for row in rows),
                n_cases=len(self.ids_),
            )
        return self._scales[key]

    def copy_rate(self, field: str) -> float:
        """Return the copy rate of a field with a fixed set of values."""
        if field not in self._rates:
            codes = np.full(len(self.ids_), -1, np.int64)
            for number, value in enumerate(self.values_of_.get(field, ())):
                codes[self.tokens_.of(token_key(field, value))] = number
            self._rates[field] = shrunk_copy_rate(codes, self.cause_codes_)
        return self._rates[field]

    def attach(self, learned: Learned | None) -> "CaseIndex":
        """Let the closed fields of the cases count, as ``learned`` reads them off a query."""
        self.stored_fields = (
            StoredFields(learned, self.labels_, self.words_) if learned is not None else None
        )
        return self

    # --- parts of a query ---------------------------------------------------------------------

    def text_queries(self, query: CaseFeatures) -> dict[tuple[str, str], TextQuery]:
        """Return the known terms of a query for each of the four text spaces."""
        text = query_text(query)
        return {key: space.query(text) for key, space in self.spaces_.items()}

    def _text_evidence(self, queries: Mapping[tuple[str, str], TextQuery]) -> Evidence:
        total = np.zeros(len(self.ids_))
        for (name, kind), query in queries.items():
            share = SAID_SHARE if name == "said" else 1 - SAID_SHARE
            share *= WORD_SHARE if kind == "word" else 1 - WORD_SHARE
            total += share * self.spaces_[name, kind].cosine(query)
        rows = np.arange(len(self.ids_))
        return Evidence(part="text", what="words", rows=rows, weights=self.text_weight * total)

    def _token_evidence(self, token: Token) -> Evidence | None:
        """Return what a token gives: agreement, conflict under the same field, else nothing."""
        with_field = self.fields_.of(token.field)
        if not len(with_field):
            return None
        same = self.tokens_.of(token.key)
        looked_for = token.part == "observed"
        rate = self.copy_rate(token.field) if looked_for else COPY_RATE[token.part]
        weights = np.full(len(with_field), token_conflict(rate))
        if len(same):
            share = len(same) / (len(with_field) if looked_for else len(self.ids_))
            weights[np.searchsorted(with_field, same)] = token_agreement(rate, share)
        return Evidence(
            part=token.part,
            what=token.what,
            rows=with_field,
            weights=weights,
            shared_by=len(same),
        )

    def _measure_evidence(self, measure: Measure, group: str) -> Evidence | None:
        rows = self.measures_.of(measure.key)
        if len(rows) < LEAST_VALUES:
            return None
        scale = self.scale(measure.key)
        query = scale.score(measure.value, group)
        weights = reading_agreement(query, scale.scores, scale.correlation)
        return Evidence(
            part="reading", what=measure.what, rows=rows, weights=weights, key=measure.key
        )

    def _evidence(
        self, query: CaseFeatures, texts: Mapping[tuple[str, str], TextQuery]
    ) -> tuple[Evidence, ...]:
        found = [self._text_evidence(texts)]
        found += [e for e in map(self._token_evidence, query.tokens) if e is not None]
        read = (self._measure_evidence(row, query.group) for row in query.measures)
        found += [e for e in read if e is not None]
        found += self._learned_evidence(query)
        return tuple(found)

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
