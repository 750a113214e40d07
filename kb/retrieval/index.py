"""Exact search over all cases: everything is a posting list, every match carries its parts."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kb.errors import EmptyIndexError
from kb.retrieval.analyzer import char_terms, word_terms
from kb.retrieval.features import CaseFeatures, Measure, Token
from kb.retrieval.learned import Learned, StoredFields, label_key
from kb.retrieval.postings import Rows, gather
from kb.retrieval.similarity import (
    COPY_RATE,
    READING_CORRELATION,
    SAID_SHARE,
    TEXT_WEIGHT,
    WORD_SHARE,
    Match,
    Reason,
    normal_scores,
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
# Fewer recorded values than this give no normal score (our choice).
_LEAST_VALUES = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class _Evidence:
    """One part of a query: the rows that it touches and what it gives each, in nats."""

    part: str
    what: str
    rows: Rows
    weights: Floats
    key: str = ""


class CaseIndex:
    """Postings of all cases; ``fit`` learns, ``search`` answers exactly.

    Parameters
    ----------
    text_weight : float
        Nats for a text cosine of 1.
    """

    def __init__(self, *, text_weight: float = TEXT_WEIGHT) -> None:
        self.text_weight = text_weight
        self.stored_fields: StoredFields | None = None

    def fit(self, cases: Sequence[CaseFeatures]) -> "CaseIndex":
        """Take in all cases; row numbers follow the order of case ids.

        Sets ``ids_``, ``causes_``, ``standings_``, ``weights_`` by row, ``spaces_`` (text),
        ``fields_`` and ``tokens_`` (rows by field, by field and value), ``labels_`` (rows by closed
        field and value) and ``measures_`` (rows by quantity, with ``values_`` and ``texts_`` beside them).
        """
        ordered = sorted(cases, key=lambda case: case.case)
        self.ids_ = tuple(case.case for case in ordered)
        self.causes_ = tuple(case.cause for case in ordered)
        self.standings_ = tuple(case.standing for case in ordered)
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

    def scored_measure(self, key: str) -> tuple[Rows, Floats, Floats]:
        """Return rows, sorted values and normal scores of all cases with measure ``key``."""
        values = self.values_[self.measures_.span(key)]
        population = np.sort(values)
        return self.measures_.of(key), population, normal_scores(values, population)

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

    def _text_evidence(self, queries: Mapping[tuple[str, str], TextQuery]) -> _Evidence:
        total = np.zeros(len(self.ids_))
        for (name, kind), query in queries.items():
            share = SAID_SHARE if name == "said" else 1 - SAID_SHARE
            share *= WORD_SHARE if kind == "word" else 1 - WORD_SHARE
            total += share * self.spaces_[name, kind].cosine(query)
        rows = np.arange(len(self.ids_))
        return _Evidence(part="text", what="words", rows=rows, weights=self.text_weight * total)

    def _token_evidence(self, token: Token) -> _Evidence | None:
        """Return what a token gives: agreement, conflict under the same field, else nothing."""
        with_field = self.fields_.of(token.field)
        if not len(with_field):
            return None
        same = self.tokens_.of(token.key)
        rate = COPY_RATE[token.part]
        weights = np.full(len(with_field), token_conflict(rate))
        if len(same):
            share = len(same) / len(self.ids_)
            weights[np.searchsorted(with_field, same)] = token_agreement(rate, share)
        return _Evidence(part=token.part, what=token.what, rows=with_field, weights=weights)

    def _measure_evidence(self, measure: Measure) -> _Evidence | None:
        rows, population, scores = self.scored_measure(measure.key)
        if len(rows) < _LEAST_VALUES:
            return None
        query = float(normal_scores(np.array([measure.value]), population)[0])
        weights = reading_agreement(query, scores, READING_CORRELATION)
        return _Evidence(
            part="reading", what=measure.what, rows=rows, weights=weights, key=measure.key
        )

    def _evidence(
        self, query: CaseFeatures, texts: Mapping[tuple[str, str], TextQuery]
    ) -> tuple[_Evidence, ...]:
        found = [self._text_evidence(texts)]
        found += [e for e in map(self._token_evidence, query.tokens) if e is not None]
        found += [e for e in map(self._measure_evidence, query.measures) if e is not None]
        found += self._learned_evidence(query)
        return tuple(found)

    def _learned_evidence(self, query: CaseFeatures) -> list[_Evidence]:
        if self.stored_fields is None:
            return []
        text = query_text(query)
        found = [
            _Evidence(part="learned", what=name, rows=rows, weights=nats, key=name)
            for name, rows, nats in self.stored_fields.evidence(text)
        ]
        spelled = self.stored_fields.spelling(text)
        if spelled is not None:
            rows, nats = spelled
            found.append(_Evidence(part="spelling", what=text, rows=rows, weights=nats))
        return found

    # --- answers ------------------------------------------------------------------------------

    def scores(self, query: CaseFeatures) -> Floats:
        """Return the score of every case in nats, shape ``(n_cases,)``, in row order."""
        return self.ask(query).scores

    def _add(self, parts: Sequence[_Evidence]) -> Floats:
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

    def ask(self, query: CaseFeatures) -> "Asked":
        """Return the evidence of ``query`` for every case, to be read in several ways."""
        texts = self.text_queries(query)
        parts = self._evidence(query, texts)
        return Asked(index=self, query=query, texts=texts, parts=parts, scores=self._add(parts))


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One query held against every case; ``scores`` in nats, shape ``(n_cases,)``."""

    index: CaseIndex
    query: CaseFeatures
    texts: Mapping[tuple[str, str], TextQuery]
    parts: tuple[_Evidence, ...]
    scores: Floats

    def best(self, top: int) -> tuple[Match, ...]:
        """Return the ``top`` best cases, best first, ties by case id; the query itself left out."""
        ids = self.index.ids_
        order = top_rows(self.scores, top + 1)
        rows = [int(row) for row in order if ids[row] != self.query.case][:top]
        return tuple(self._match(row) for row in rows)

    def _match(self, row: int) -> Match:
        reasons = [reason for part in self.parts if (reason := self._reason(row, part))]
        reasons.sort(key=lambda reason: (-abs(reason.weight), reason.what))
        return Match(
            case=self.index.ids_[row],
            row=row,
            score=float(self.scores[row]),
            reasons=tuple(reasons),
        )

    def _reason(self, row: int, part: _Evidence) -> Reason | None:
        at = int(np.searchsorted(part.rows, row))
        if at >= len(part.rows) or part.rows[at] != row or part.weights[at] == 0:
            return None
        what = self._shared(row) if part.part == "text" else part.what
        what = self._here(row, part) if part.part == "reading" else what
        if self.index.stored_fields is not None and part.part in {"learned", "spelling"}:
            what = self.index.stored_fields.says(part.what, row, nats=float(part.weights[at]))
        return Reason(part=part.part, what=what, weight=float(part.weights[at]))

    def _shared(self, row: int) -> str:
        keys = (("said", "word"), ("told", "word"))
        words = dict.fromkeys(
            term
            for key in keys
            for term in self.index.spaces_[key].shared_terms(self.texts[key], row, most=3)
        )
        return "words: " + ", ".join(words) if words else "spelling alike"

    def _here(self, row: int, part: _Evidence) -> str:
        span = self.index.measures_.span(part.key)
        at = int(np.searchsorted(part.rows, row))
        return f"{part.what}, there {self.index.texts_[span.start + at]}"


def query_text(query: CaseFeatures) -> str:
    """Return all words of a query: what came in, and what is known of it by now."""
    return query.said if not query.told else f"{query.said}\n{query.told}"


def top_rows(scores: Floats, top: int) -> Rows:
    """Return the rows of the ``top`` largest scores, largest first, ties by row number.

    A full partition is avoided where nearly all scores are equal; ``lexsort`` breaks ties exactly.
    """
    if top >= len(scores):
        return np.lexsort((np.arange(len(scores)), -scores))
    bound = np.partition(scores, len(scores) - top)[len(scores) - top]
    rows = np.flatnonzero(scores >= bound)
    order = np.lexsort((rows, -scores[rows]))
    return np.asarray(rows[order][:top], np.int64)
