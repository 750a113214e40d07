"""TF-IDF postings of one text per case, with scikit-learn's weights."""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from kb.retrieval.analyzer import CHAR_LENGTHS, char_terms, char_words, word_grams
from kb.retrieval.lists import add_lists

Floats = NDArray[np.float64]
Analyzer = Callable[[str], Counter[str]]


class TextSpace:
    """Rows of TF-IDF weights of length 1, kept by term (posting lists).

    ``tf = 1 + ln(count)``, ``idf = ln((1 + n) / (1 + df)) + 1`` where the +1 inside acts as one
    extra document holding every term; rows are divided by their Euclidean norm.

    References
    ----------
    Salton & Buckley (1988), Term-weighting approaches in automatic text retrieval, table 1
    (from memory); scikit-learn user guide, section "Tf-idf term weighting".
    """

    def __init__(self, analyzer: Analyzer) -> None:
        self.analyzer = analyzer

    def fit(self, texts: Sequence[str]) -> "TextSpace":
        """Learn terms and weights of ``texts``; sets ``terms_``, ``idf_``, ``postings_``."""
        counted = _count(self.analyzer, texts)
        n_cases, n_terms = len(counted.pointers) - 1, len(counted.terms)
        ids, counts, pointers = counted.ids, counted.counts, counted.pointers
        frequency = np.bincount(ids, minlength=n_terms)
        self.terms_ = counted.terms
        self.idf_: Floats = np.log((1 + n_cases) / (1 + frequency)) + 1
        weights: Floats = (1 + np.log(counts)) * self.idf_[ids] if len(ids) else counts
        rows = np.repeat(np.arange(n_cases), np.diff(pointers))
        norms = np.sqrt(np.bincount(rows, weights=weights**2, minlength=n_cases))
        weights = weights / np.where(norms > 0, norms, 1.0)[rows] if len(ids) else weights
        shape = (n_cases, n_terms)
        by_case = sparse.csr_array((weights, ids, pointers), shape=shape)
        self.postings_ = by_case.T.tocsr()
        return self

    def query(self, text: str) -> "TextQuery":
        """Return the known terms of ``text`` with their weights, of length 1 together."""
        counted = [(t, n) for t, n in self.analyzer(text).items() if t in self.terms_]
        ids = np.array([self.terms_[term] for term, _ in counted], np.int64)
        weights = 1 + np.log(np.array([n for _, n in counted], np.float64))
        if len(ids):
            weights = weights * self.idf_[ids]
            weights = weights / np.sqrt(weights @ weights)
        return TextQuery(tuple(term for term, _ in counted), ids, weights)

    def cosine(self, query: "TextQuery") -> Floats:
        """Return the cosine of ``query`` with every case, shape ``(n_cases,)``."""
        total = np.zeros(self.postings_.shape[1])
        add_lists(
            total,
            self.postings_.indptr,
            rows=self.postings_.indices,
            values=self.postings_.data,
            lists=query.ids,
            scales=query.weights,
        )
        return total

    def shared_terms(self, query: "TextQuery", row: int, *, most: int = 4) -> tuple[str, ...]:
        """Return the terms of ``query`` that weigh most in its cosine with case ``row``."""
        weighed = []
        for name, term, weight in zip(query.names, query.ids, query.weights, strict=True):
            start, stop = self.postings_.indptr[term : term + 2]
            at = start + int(np.searchsorted(self.postings_.indices[start:stop], row))
            if at < stop and self.postings_.indices[at] == row:
                weighed.append((-weight * self.postings_.data[at], name))
        return tuple(name for _, name in sorted(weighed)[:most])


@dataclass(frozen=True, slots=True)
class _Counted:
    """Terms of texts with their counts, text after text."""

    terms: dict[str, int]
    ids: NDArray[np.int32]
    counts: Floats
    pointers: NDArray[np.int64]

    def table(self) -> sparse.csr_array:
        """Return the count of each term in each text, shape ``(n_texts, n_terms)``."""
        shape = (len(self.pointers) - 1, len(self.terms))
        return sparse.csr_array((self.counts, self.ids, self.pointers), shape=shape)


def _counted(texts: Iterable[Mapping[str, int]]) -> _Counted:
    """Return the terms of texts, numbered as they come, with their counts."""
    terms: dict[str, int] = {}
    ids: list[int] = []
    counts: list[int] = []
    pointers = [0]
    for counted in texts:
        ids.extend(terms.setdefault(term, len(terms)) for term in counted)
        counts.extend(counted.values())
        pointers.append(len(ids))
    return _Counted(
        terms, np.array(ids, np.int32), np.array(counts, np.float64), np.array(pointers)
    )


def _count(analyzer: Analyzer, texts: Sequence[str]) -> _Counted:
    """Return the counted terms of ``texts``."""
    if analyzer is not char_terms:
        return _counted(map(analyzer, texts))
    # Texts share their words: the pieces of each are looked for once, for all of them.
    words = _counted(Counter(char_words(text)) for text in texts)
    grams = _counted(Counter(word_grams(word, CHAR_LENGTHS)) for word in words.terms)
    made = words.table() @ grams.table()
    return _Counted(grams.terms, made.indices, made.data, made.indptr)


@dataclass(frozen=True, slots=True)
class TextQuery:
    """Known terms of a text: their names, their ids and their weights, all of one length."""

    names: tuple[str, ...]
    ids: NDArray[np.int64]
    weights: Floats
