"""Exact search over all cases: everything is a posting list, every match carries its parts."""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from kb.case.contraries import contrary_share
from kb.errors import EmptyIndexError
from kb.retrieval.asked import Asked, Evidence, OfAll, OfSome, top_rows
from kb.retrieval.feature_table import FeatureTable
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.field_evidence import FieldEvidence
from kb.retrieval.field_rows import FieldRows
from kb.retrieval.index_fit import IndexFit
from kb.retrieval.learned import Learned, StoredFields
from kb.retrieval.postings import Rows
from kb.retrieval.similarity import (
    CONTRARY_WEIGHT,
    LEAST_NEAR,
    MOST_CONTRARY,
    MOST_STATED,
    TEXT_SHARE,
    TEXT_WEIGHT,
    Match,
)
from kb.retrieval.text_fit import TextFit
from kb.retrieval.texts import AskedWords, CaseTexts, Rarities

Floats = NDArray[np.float32]


_CONTRARY = "the same words about contrary facts there"
NO_CASE = (
    "expected at least 1 closed case to search, got 0; close a job or run 'baybook demo' first"
)


def query_text(query: CaseFeatures) -> str:
    """Return all words of a query: what came in, and what is known of it by now."""
    return query.said if not query.told else f"{query.said}\n{query.told}"


class CaseIndex(FieldEvidence):
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
        super().__init__(part_weights or {})
        self.text_weight = text_weight
        self.stored_fields: StoredFields | None = None

    def fit(self, cases: Sequence[CaseFeatures]) -> "CaseIndex":
        """Take in all cases; row numbers follow the order of case ids.

        Sets ``ids_``, ``causes_``, ``standings_``, ``origins_``, ``groups_``, ``weights_``,
        ``stated_`` by row, ``texts_``, ``fields_`` and ``tokens_`` (rows by field, by field and value), ``labels_`` (by
        closed field and value) and ``measures_`` (rows by quantity, with ``values_``).
        """
        return self.fit_tables([FeatureTable.of(cases)])

    def fit_tables(self, tables: Iterable[FeatureTable]) -> "CaseIndex":
        """Take in all cases of tables in order of case ids, see ``fit``; each is read twice."""
        like = self._like()
        fit = IndexFit(TextFit(None if like is None else like.rarity))
        for table in tables:
            fit.count(table)
        for table in tables:
            fit.put(table)
        self.ids_, self.causes_, self.stated_ = map(fit.plain, ("cases", "causes", "said"))
        self.standings_, self.origins_ = fit.plain("standings"), fit.plain("origins")
        self.groups_, self.weights_ = fit.plain("groups"), fit.weights
        self.texts_ = CaseTexts.fitted(fit.texts, like=like)
        self.tokens_ = fit.postings("tokens")
        self.fields_ = FieldRows.of_tokens(self.tokens_)
        self.labels_, self.words_ = fit.postings("labels"), fit.postings("spelled")
        self.measures_, self.values_ = fit.measures()
        return self

    def _like(self) -> Rarities | None:
        """Return how rare words are elsewhere, as they are here; None where these cases count."""
        return None

    def attach(self, learned: Learned | None) -> "CaseIndex":
        """Let the closed fields of the cases count, as ``learned`` reads them off a query.

        The parts of the evidence then have the weights that were fitted with them, else 1.
        """
        self.weigh_by(learned.parts if learned is not None else {})
        self.stored_fields = self._stored(learned) if learned is not None else None
        return self

    def _stored(self, learned: Learned) -> StoredFields:
        return StoredFields(learned, self.labels_, self.words_)

    # --- parts of a query ---------------------------------------------------------------------

    def text_evidence(self, words: AskedWords) -> OfAll:
        """Return what the words of a question give every case."""
        cosines = self.texts_.cosines(words)
        cosines *= np.float32(self.text_weight * TEXT_SHARE * self.weight_of("text"))
        return OfAll(part="text", what="words", weights=cosines)

    def nearest_texts(self, query: CaseFeatures, text: OfAll) -> Rows:
        """Return the rows of the nearest texts, nearest first; none for a long query.

        Only these are read for the same words about contrary facts.
        """
        if len(query.said.split()) > MOST_STATED:
            return np.zeros(0, np.int64)
        least = LEAST_NEAR * self.text_weight * self.weight_of("text")
        best = top_rows(text.weights, MOST_CONTRARY)
        return best[text.weights[best] > least]

    def _contrary_evidence(self, query: CaseFeatures, near: Rows) -> Iterator[OfSome]:
        """Yield what the same words about contrary facts take off, among ``near``."""
        near = np.sort(near)
        shares = np.array([contrary_share(query.said, self.stated_[int(row)]) for row in near])
        rows = np.flatnonzero(shares)
        if len(rows):
            weights = -CONTRARY_WEIGHT * self.weight_of("contrary") * shares[rows]
            yield OfSome(
                part="contrary",
                what=_CONTRARY,
                rows=near[rows].astype(np.int32),
                weights=weights.astype(np.float32),
            )

    def _evidence(self, query: CaseFeatures, text: OfAll, near: Rows) -> tuple[Evidence, ...]:
        found: list[Evidence] = [text, *self._contrary_evidence(query, near)]
        by_field: dict[str, list[Token]] = {}
        for token in query.tokens:
            by_field.setdefault(token.field, []).append(token)
        found += (row for tokens in by_field.values() for row in self.field_evidence(tokens))
        read = (self.measure_evidence(row, query.group) for row in query.measures)
        found += [e for e in read if e is not None]
        found += self._learned_evidence(query)
        return tuple(found)

    def _learned_evidence(self, query: CaseFeatures) -> Iterator[OfSome]:
        if self.stored_fields is None:
            return
        text = query_text(query)
        for name, rows, nats in self.stored_fields.evidence(text):
            weights = (self.weight_of("learned") * nats).astype(np.float32)
            yield OfSome(part="learned", what=name, rows=rows, weights=weights)
        spelled = self.stored_fields.spelling(text)
        if spelled is not None:
            rows, nats = spelled
            weights = (self.weight_of("spelling") * nats).astype(np.float32)
            yield OfSome(part="spelling", what=text, rows=rows, weights=weights)

    # --- cases ----------------------------------------------------------------------------------

    def __len__(self) -> int:
        """Return how many cases are here."""
        return len(self.ids_)

    def holds(self, case: str) -> bool:
        """Return whether a case of that id is here."""
        return self.row_of(case) is not None

    def row_of(self, case: str) -> int | None:
        """Return the row of a case, None where there is none of that id."""
        at = bisect_left(self.ids_, case)
        return at if at < len(self.ids_) and self.ids_[at] == case else None

    def order(self, rows: Rows) -> Rows:
        """Return what orders rows as their case ids do: the rows themselves."""
        return rows

    def weights_of(self, rows: Sequence[int]) -> NDArray[np.float64]:
        """Return the weights of cases as witnesses."""
        return np.asarray(self.weights_[rows], np.float64)

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
        words = self.words_of(query)
        text = self.text_evidence(words)
        return self.asked(query, words, text, near=self.nearest_texts(query, text))

    def words_of(self, query: CaseFeatures) -> AskedWords:
        """Return the words of a query and the words of the cases that they stand for."""
        self.fetch_for(query)
        return self.texts_.ask((query.said, query.told))

    def asked(
        self,
        query: CaseFeatures,
        words: AskedWords,
        text: OfAll,
        *,
        near: Rows,
        total: Floats | None = None,
    ) -> Asked:
        """Return the evidence of ``query`` for every case out of that of its words.

        Parameters
        ----------
        query : CaseFeatures
            The query.
        words, text : AskedWords, OfAll
            As ``words_of`` and ``text_evidence`` give them.
        near : array of int
            Rows whose texts are read for the same words about contrary facts.
        total : array of shape (n_cases,), optional
            Becomes the scores.
        """
        parts = self._evidence(query, text, near)
        total = np.empty_like(text.weights) if total is None else total
        total[:] = text.weights
        for part in parts[1:]:
            part.add_to(total)
        return Asked(index=self, query=query, words=words, parts=parts, scores=total)
