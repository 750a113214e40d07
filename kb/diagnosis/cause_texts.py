"""The words that belong to a cause: of its closed cases, and of the catalogue."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from itertools import compress, repeat
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from kb.case.terms import Vocabulary
from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import query_text
from kb.retrieval.learn import ANALYZERS
from kb.retrieval.similarity import SAID_SHARE, WORD_SHARE
from kb.retrieval.vectors import TextSpace

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
_Row = np.int32

# Nats for a cosine of 1 with the catalogue's words for a cause and its cases' words (our choice).
TEXT_WEIGHT: Final = 45.0


def catalogue_text(words: Vocabulary, name: str) -> str:
    """Return what the catalogue says of a cause; of one that the shop added, its name."""
    row = words.causes.get(name)
    if row is None:
        return name
    complaints = [words.symptoms[key].say for key in row.complaints]
    return "\n".join([row.name, row.telling, row.part.replace("_", " "), *complaints])


def fit_texts(
    cases: Sequence[CaseFeatures], causes: Sequence[str], words: Vocabulary
) -> dict[str, TextSpace]:
    """Return the spaces of what came in and what was found, one document a cause."""
    said: defaultdict[str, list[str]] = defaultdict(list)
    told: defaultdict[str, list[str]] = defaultdict(list)
    for case in sorted(cases, key=lambda case: case.case):
        if case.cause is not None:
            said[case.cause].append(case.said)
            told[case.cause].append(case.told)
    came_in = ["\n".join([*said[name], catalogue_text(words, name)]) for name in causes]
    found = ["\n".join([*told[name], catalogue_text(words, name)]) for name in causes]
    return {
        f"{name} {kind}": TextSpace(analyzer).fit(texts)
        for name, texts in (("said", came_in), ("told", found))
        for kind, analyzer in ANALYZERS.items()
    }


class JobTerms(NamedTuple):
    """Terms of a text that one space knows: all counted ones, which are known, rows and weights."""

    counted: Mapping[str, int]
    known: NDArray[np.bool_]
    rows: NDArray[np.int32]
    weights: Floats


class JobWords:
    """The words of a job, held against those of every cause.

    Parameters
    ----------
    texts : CauseTexts
        The words of the causes.
    queries : sequence of JobTerms
        What each space knows of the job's words.
    """

    def __init__(self, texts: "CauseTexts", queries: Sequence["JobTerms"]) -> None:
        self.texts, self.queries = texts, queries

    def shared_terms(self, cause: int, *, most: int) -> Iterator[str]:
        """Yield the words shared with a cause, in each of its two texts the strongest first.

        Parameters
        ----------
        cause : int
            Number of the cause.
        most : int
            How many of each text.
        """
        for found in self._shared:
            yield from found.terms(cause, most)

    @cached_property
    def _shared(self) -> tuple["_Shared", ...]:
        rows = zip(self.texts.names, self.queries, strict=True)
        return tuple(_Shared(self.texts.table, q) for name, q in rows if _kind(name) == "word")


class _Shared:
    """What each word of a query gives in its cosine with each cause."""

    def __init__(self, table: sparse.csr_array, query: JobTerms) -> None:
        starts = table.indptr[query.rows]
        lengths = table.indptr[query.rows + 1] - starts
        first = np.cumsum(lengths) - lengths
        at = np.repeat(starts - first, lengths) + np.arange(lengths.sum())
        self.names = list(compress(query.counted, query.known.tolist()))
        self.causes = table.indices[at]
        self.word_of = np.repeat(np.arange(len(lengths)), lengths)
        self.parts = query.weights[self.word_of] * table.data[at]

    def terms(self, cause: int, most: int) -> list[str]:
        at = np.flatnonzero(self.causes == cause)
        pairs = zip(self.parts[at].tolist(), self.word_of[at].tolist(), strict=True)
        found = sorted((-part, self.names[word]) for part, word in pairs)
        return [name for _, name in found[:most]]


class CauseTexts:
    """The words of all causes in one table, so that a job is held against it in one go.

    Parameters
    ----------
    spaces : mapping of str to TextSpace
        As ``fit_texts`` gives them.

    Attributes
    ----------
    names : tuple of str
        The spaces.
    table : csr_array of shape (n_terms of all spaces, n_causes)
        Their postings one below the other.
    """

    def __init__(self, spaces: Mapping[str, TextSpace]) -> None:
        self.names = tuple(spaces)
        stacked = sparse.vstack([row.postings_ for row in spaces.values()], format="csr")
        # Half the bytes to fetch for each posting.
        parts = (stacked.data, stacked.indices.astype(_Row), stacked.indptr.astype(_Row))
        self.table = sparse.csr_array(parts, shape=stacked.shape)
        self._ends = np.cumsum([0, *(len(row.terms_) for row in spaces.values())])
        self._idf = np.concatenate([row.idf_ for row in spaces.values()])
        self._terms: dict[str, dict[str, int]] = {kind: {} for kind in ANALYZERS}
        for name, space in spaces.items():
            terms = self._terms[_kind(name)]
            for term in space.terms_:
                terms.setdefault(term, len(terms))
        # By space and number of the term: its row in the table, -1 where the space has it not.
        self._rows = []
        for name, space, first in zip(self.names, spaces.values(), self._ends[:-1], strict=True):
            terms = self._terms[_kind(name)]
            rows = np.full(len(terms) + 1, -1, _Row)
            rows[[terms[term] for term in space.terms_]] = np.arange(len(space.terms_)) + first
            self._rows.append(rows)

    def spaces(self) -> dict[str, TextSpace]:
        """Return the spaces as they were given."""
        return {name: self._space(at, name) for at, name in enumerate(self.names)}

    def _space(self, at: int, name: str) -> TextSpace:
        first, last = self._ends[at], self._ends[at + 1]
        terms = np.array(list(self._terms[_kind(name)]), object)
        mine = np.flatnonzero(self._rows[at] >= 0)
        ordered = mine[np.argsort(self._rows[at][mine])]
        space = TextSpace(ANALYZERS[_kind(name)])
        space.terms_ = {term: number for number, term in enumerate(terms[ordered])}
        space.idf_ = self._idf[first:last]
        space.postings_ = self.table[first:last]
        return space

    def ask(self, query: CaseFeatures) -> JobWords:
        """Return the words of a job, and which of them each space knows."""
        text = query_text(query)
        counted = {kind: analyzer(text) for kind, analyzer in ANALYZERS.items()}
        numbers = {
            kind: np.array(list(map(self._terms[kind].get, terms, repeat(-1))), np.int64)
            for kind, terms in counted.items()
        }
        return JobWords(
            self, [self._weighed(at, counted, numbers) for at in range(len(self.names))]
        )

    def _weighed(
        self, at: int, counted: Mapping[str, Mapping[str, int]], numbers: Mapping[str, Codes]
    ) -> JobTerms:
        """Return the terms that a space knows, their weights as ``TextSpace.query`` has them."""
        kind = _kind(self.names[at])
        # The last number stands for what no space knows.
        rows = self._rows[at][numbers[kind]]
        known = rows >= 0
        rows, counts = rows[known], np.array(list(counted[kind].values()), np.float64)[known]
        weights = (1 + np.log(counts)) * self._idf[rows]
        if len(rows):
            weights = weights / np.sqrt(weights @ weights)
        return JobTerms(counted[kind], known, rows, weights)

    def evidence(self, words: JobWords, prior: Floats) -> Floats:
        """Return what the words of a job say of each cause in nats, shape ``(n_causes,)``.

        Parameters
        ----------
        words : JobWords
            As ``ask`` gives them.
        prior : array of shape (n_causes,)
            Share of each cause, over which the average is 0.
        """
        total = np.zeros(len(prior))
        for name, cosine in zip(self.names, self._cosines(words), strict=True):
            share = SAID_SHARE if name.startswith("said") else 1 - SAID_SHARE
            share *= WORD_SHARE if _kind(name) == "word" else 1 - WORD_SHARE
            total += share * cosine
        return TEXT_WEIGHT * (total - float(prior @ total))

    def _cosines(self, words: JobWords) -> Floats:
        """Return the cosine with each cause in each space, shape ``(n_spaces, n_causes)``."""
        asked = words.queries
        ends = np.cumsum([0, *(len(row.rows) for row in asked)]).astype(_Row)
        parts = (
            np.concatenate([row.weights for row in asked]),
            np.concatenate([row.rows for row in asked]),
            ends,
        )
        rows = sparse.csr_array(parts, shape=(len(asked), self.table.shape[0]))
        return np.asarray((rows @ self.table).toarray())


def _kind(name: str) -> str:
    return name.partition(" ")[2]
