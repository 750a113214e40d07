"""The words that belong to a cause: of its closed cases, and of the catalogue."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import cached_property
from itertools import compress
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from kb.case.terms import Vocabulary
from kb.diagnosis.cause_terms import SPACES, CauseTerms, kind_of
from kb.retrieval.analyzer import CHAR_LENGTHS, char_words, word_grams, word_terms
from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import query_text
from kb.retrieval.learn import ANALYZERS
from kb.retrieval.lists import add_lists
from kb.retrieval.pages import fetch_lists
from kb.retrieval.remembered import Remembered
from kb.retrieval.similarity import SAID_SHARE, WORD_SHARE
from kb.retrieval.vectors import TextSpace

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

# Nats for a cosine of 1 with the catalogue's words for a cause and its cases' words (our choice).
TEXT_WEIGHT: Final = 45.0
# Words whose character n-grams are remembered by number (our choice; some 300 bytes each).
_MOST_REMEMBERED: Final = 4096
_NONE: Final = np.zeros(0, np.int64)


# Cause, what came in and what was found of one case.
CauseText = tuple[str | None, str, str]


def texts_of(cases: Iterable[CaseFeatures]) -> list[CauseText]:
    """Return the texts of cases in order of case ids."""
    return [(row.cause, row.said, row.told) for row in sorted(cases, key=lambda row: row.case)]


def catalogue_text(words: Vocabulary, name: str) -> str:
    """Return what the catalogue says of a cause; of one that the shop added, its name."""
    row = words.causes.get(name)
    if row is None:
        return name
    complaints = [words.symptoms[key].say for key in row.complaints]
    return "\n".join([row.name, row.telling, row.part.replace("_", " "), *complaints])


def fit_texts(
    cases: Iterable[CauseText], causes: Sequence[str], words: Vocabulary
) -> dict[str, TextSpace]:
    """Return the spaces of what came in and what was found, one document a cause.

    Parameters
    ----------
    cases : iterable of CauseText
        In order of case ids.
    causes : sequence of str
        All causes.
    words : Vocabulary
        With the catalogue's words for them.
    """
    said: defaultdict[str, list[str]] = defaultdict(list)
    told: defaultdict[str, list[str]] = defaultdict(list)
    for cause, came_in, found in cases:
        if cause is not None:
            said[cause].append(came_in)
            told[cause].append(found)
    all_said = ["\n".join([*said[name], catalogue_text(words, name)]) for name in causes]
    all_told = ["\n".join([*told[name], catalogue_text(words, name)]) for name in causes]
    return {
        f"{name} {kind}": TextSpace(analyzer).fit(texts)
        for name, texts in (("said", all_said), ("told", all_told))
        for kind, analyzer in ANALYZERS.items()
    }


class JobTerms(NamedTuple):
    """The terms of a text that one space knows: lists and weights, of words and pairs their names."""

    names: tuple[str, ...]
    lists: NDArray[np.int32]
    weights: Floats


class _Counted(NamedTuple):
    """The counted terms of a text: numbers, counts, of words and pairs their names."""

    names: tuple[str, ...]
    numbers: Codes
    counts: Floats


class JobWords:
    """The words of a job, held against those of every cause.

    Parameters
    ----------
    terms : CauseTerms
        Those of the causes.
    queries : sequence of JobTerms
        What each space knows of the job's words.
    """

    def __init__(self, terms: CauseTerms, queries: Sequence["JobTerms"]) -> None:
        self.terms, self.queries = terms, queries

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
        rows = zip(SPACES, self.queries, strict=True)
        return tuple(_Shared(self.terms, q) for name, q in rows if kind_of(name) == "word")


class _Shared:
    """What each word of a query gives in its cosine with each cause."""

    def __init__(self, table: CauseTerms, query: JobTerms) -> None:
        starts = table.pointers[query.lists]
        lengths = table.pointers[query.lists + 1] - starts
        first = np.cumsum(lengths) - lengths
        at = np.repeat(starts - first, lengths) + np.arange(lengths.sum())
        self.names = query.names
        self.causes = table.rows[at]
        self.word_of = np.repeat(np.arange(len(lengths)), lengths)
        self.parts = query.weights[self.word_of] * table.values[at]

    def terms(self, cause: int, most: int) -> list[str]:
        at = np.flatnonzero(self.causes == cause)
        names = [self.names[word] for word in self.word_of[at].tolist()]
        found = sorted(zip((-self.parts[at]).tolist(), names, strict=True))
        return [name for _, name in found[:most]]


class CauseTexts:
    """The words of all causes, so that a job is held against them in one go.

    Parameters
    ----------
    arrays : mapping
        As ``term_arrays`` makes them of what ``fit_texts`` gives.
    """

    def __init__(self, arrays: Mapping[str, NDArray[Any]]) -> None:
        self.terms = CauseTerms(arrays)
        self._shares = tuple(map(_share, SPACES))
        self._known = Remembered[str, Codes](_MOST_REMEMBERED)

    def ask(self, query: CaseFeatures) -> JobWords:
        """Return the words of a job, and which of them each space knows."""
        text = query_text(query)
        counted = {"word": self._words(text), "char": self._chars(text)}
        return JobWords(
            self.terms, [self._weighed(counted[kind_of(name)], name) for name in SPACES]
        )

    def _words(self, text: str) -> _Counted:
        counted = word_terms(text)
        names = tuple(counted)
        numbers = self.terms.numbers("word", names)
        return _Counted(names, numbers, np.array([*counted.values()], np.float64))

    def _chars(self, text: str) -> _Counted:
        known = [self._grams(word) for word in char_words(text)]
        numbers, counts = np.unique(np.concatenate([_NONE, *known]), return_counts=True)
        order = self.terms.in_order("char", numbers)
        return _Counted((), numbers[order], counts[order].astype(np.float64))

    def _grams(self, word: str) -> Codes:
        """Return the numbers of the character n-grams of a word."""
        found = self._known.get(word)
        if found is None:
            grams = word_grams(word, CHAR_LENGTHS)
            found = self._known.keep(word, self.terms.numbers("char", grams))
        return found

    def _weighed(self, counted: _Counted, space: str) -> JobTerms:
        """Return the terms that a space knows, their weights as ``TextSpace.query`` has them."""
        lists = self.terms.lists(space, counted.numbers)
        known = lists >= 0
        lists = lists[known]
        weights = (1 + np.log(counted.counts[known])) * self.terms.idf(lists)
        if len(lists):
            weights = weights / np.sqrt(weights @ weights)
        return JobTerms(tuple(compress(counted.names, known.tolist())), lists, weights)

    def evidence(self, words: JobWords, prior: Floats) -> Floats:
        """Return what the words of a job say of each cause in nats, shape ``(n_causes,)``.

        Parameters
        ----------
        words : JobWords
            As ``ask`` gives them.
        prior : array of shape (n_causes,)
            Share of each cause, over which the average is 0.
        """
        asked = words.queries
        lists = np.concatenate([row.lists for row in asked])
        fetch_lists((self.terms.rows, self.terms.values), self.terms.pointers, lists)
        scales = [share * row.weights for share, row in zip(self._shares, asked, strict=True)]
        total = np.zeros(len(prior))
        add_lists(
            total,
            self.terms.pointers,
            rows=self.terms.rows,
            values=self.terms.values,
            lists=lists,
            scales=np.concatenate(scales),
        )
        return TEXT_WEIGHT * (total - float(prior @ total))


def _share(name: str) -> float:
    """Return what the cosine in a space counts."""
    share = SAID_SHARE if name.startswith("said") else 1 - SAID_SHARE
    return share * (WORD_SHARE if kind_of(name) == "word" else 1 - WORD_SHARE)
