"""The words that belong to a cause: of its closed cases, and of the catalogue."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from functools import cached_property
from itertools import compress, repeat
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from kb.case.terms import Vocabulary
from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import query_text
from kb.retrieval.learn import ANALYZERS
from kb.retrieval.similarity import SAID_SHARE, WORD_SHARE
from kb.retrieval.vectors import TextQuery, TextSpace

Floats = NDArray[np.float64]

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


class JobWords:
    """The words of a job, held against those of every cause.

    Parameters
    ----------
    spaces : mapping of str to TextSpace
        The words of the causes, as ``fit_texts`` gives them.
    queries : mapping of str to TextQuery
        What each space knows of the job's words.
    """

    def __init__(self, spaces: Mapping[str, TextSpace], queries: Mapping[str, TextQuery]) -> None:
        self.spaces, self.queries = spaces, queries

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
        names = [name for name in self.queries if name.endswith(" word")]
        return tuple(_Shared(self.spaces[name], self.queries[name]) for name in names)


class _Shared:
    """What each word of a query gives in its cosine with each row of a space."""

    def __init__(self, space: TextSpace, query: TextQuery) -> None:
        starts = space.postings_.indptr[query.ids].astype(np.int64)
        lengths = space.postings_.indptr[query.ids + 1] - starts
        first = np.cumsum(lengths) - lengths
        at = np.repeat(starts - first, lengths) + np.arange(lengths.sum())
        self.names, self.rows = query.names, space.postings_.indices[at]
        self.word_of = np.repeat(np.arange(len(lengths)), lengths)
        self.parts = query.weights[self.word_of] * space.postings_.data[at]

    def terms(self, row: int, most: int) -> list[str]:
        at = np.flatnonzero(self.rows == row)
        pairs = zip(self.parts[at].tolist(), self.word_of[at].tolist(), strict=True)
        found = sorted((-part, self.names[word]) for part, word in pairs)
        return [name for _, name in found[:most]]


class CauseTexts:
    """The words of all causes in one table, so that a job is held against it in one go.

    Parameters
    ----------
    spaces : mapping of str to TextSpace
        As ``fit_texts`` gives them; their postings become parts of the table, so that nothing is
        kept twice.
    """

    def __init__(self, spaces: Mapping[str, TextSpace]) -> None:
        self.spaces = dict(spaces)
        tables = [space.postings_ for space in self.spaces.values()]
        self._table = sparse.vstack(tables, format="csr")
        self._first = np.cumsum([0, *(table.shape[0] for table in tables)])
        pointers = self._table.indptr
        for at, space in enumerate(self.spaces.values()):
            rows = pointers[self._first[at] : self._first[at + 1] + 1]
            part = slice(rows[0], rows[-1])
            values = (self._table.data[part], self._table.indices[part], rows - rows[0])
            space.postings_ = sparse.csr_array(values, shape=tables[at].shape)

    def ask(self, query: CaseFeatures) -> JobWords:
        """Return the words of a job, and which of them each space knows."""
        text = query_text(query)
        counted = {kind: analyzer(text) for kind, analyzer in ANALYZERS.items()}
        known = {name: _weighed(space, counted[_kind(name)]) for name, space in self.spaces.items()}
        return JobWords(self.spaces, known)

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
        for name, cosine in zip(self.spaces, self._cosines(words), strict=True):
            share = SAID_SHARE if name.startswith("said") else 1 - SAID_SHARE
            share *= WORD_SHARE if _kind(name) == "word" else 1 - WORD_SHARE
            total += share * cosine
        return TEXT_WEIGHT * (total - float(prior @ total))

    def _cosines(self, words: JobWords) -> Floats:
        """Return the cosine with each cause in each space, shape ``(n_spaces, n_causes)``."""
        asked = words.queries.values()
        ids = [row.ids + first for row, first in zip(asked, self._first[:-1], strict=True)]
        ends = np.cumsum([0, *map(len, ids)])
        parts = (np.concatenate([row.weights for row in asked]), np.concatenate(ids), ends)
        shape = (len(ids), self._table.shape[0])
        return np.asarray((sparse.csr_array(parts, shape=shape) @ self._table).toarray())


def _kind(name: str) -> str:
    return name.partition(" ")[2]


def _weighed(space: TextSpace, counted: Mapping[str, int]) -> TextQuery:
    """Return what ``space.query`` returns of a text whose terms are counted already."""
    ids = np.array(list(map(space.terms_.get, counted, repeat(-1))), np.int64)
    known = ids >= 0
    ids, counts = ids[known], np.array(list(counted.values()), np.float64)[known]
    weights = (1 + np.log(counts)) * space.idf_[ids]
    if len(ids):
        weights = weights / np.sqrt(weights @ weights)
    return TextQuery(tuple(compress(counted, known.tolist())), ids, weights)
