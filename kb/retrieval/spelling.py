"""Abbreviations and misspellings, counted from the texts of the shop's own cases.

Two words stand for one another when they are spelled alike (one shortens the other, or they are a
slip apart) and stand between the same neighbours: "repl hose" and "replace hose" say the same.
"""

import re
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray
from rapidfuzz.distance import DamerauLevenshtein
from scipy import sparse

from kb.retrieval.acronyms import long_forms
from kb.retrieval.lists import add_lists
from kb.retrieval.postings import Postings, Rows

Floats = NDArray[np.float64]

# Nats for a cosine of 1, times the weight of what was learned; all numbers here were chosen on
# two public sets of shop shorthand.
SPELLING_WEIGHT: Final = 1.0
MOST_WORDS: Final = 8000
# Likeness of neighbours below which a pair is chance, and from which it counts in full.
LEAST_LIKENESS: Final = 0.03
FULL_LIKENESS: Final = 0.06
_LEAST_PAIR: Final = 0.1
# A word counts in a text from this share on, where the rarity of words is counted.
_COUNTED: Final = 0.15
# What an unknown word of a query is worth, and how many known words it may stand for.
_UNKNOWN: Final = 0.7
_MOST_NEAR: Final = 4
_TOKEN: Final = re.compile(r"[a-z0-9]+(?:[/&.'][a-z0-9]+)*")
_JOINT: Final = re.compile(r"[/&.']")


def spelled_words(text: str) -> list[str]:
    """Return the words of a text; single letters with a slash are one word, numbers none.

    Examples
    --------
    >>> spelled_words("REPL L/H lamp/fuse 24")
    ['repl', 'lh', 'lamp', 'fuse']
    """
    words: list[str] = []
    tokens: list[str] = _TOKEN.findall(text.lower())
    if not _JOINT.search(text):
        return [token for token in tokens if not token.isdigit()]
    for token in tokens:
        parts = [part for part in _JOINT.split(token) if part]
        words += ["".join(parts)] if all(len(part) == 1 for part in parts) else parts
    return [word for word in words if not word.isdigit()]


def shortens(short: str, long: str) -> bool:
    """Tell whether all letters of ``short`` occur in ``long`` in their order."""
    rest = iter(long)
    return all(letter in rest for letter in short)


def spelled_alike(first: str, second: str) -> float:
    """Return how far two words with one initial may be one word, 0 to 1.

    Examples
    --------
    >>> spelled_alike("cylinder", "cyl"), spelled_alike("hose", "pump")
    (0.9, 0.0)
    """
    short, long = sorted((first, second), key=lambda word: (len(word), word))
    if short[:1] != long[:1] or len(short) < 2:
        return 0.0
    worth = 0.0
    if long.startswith(short):
        worth = 0.9 if len(short) > 2 else 0.6
    elif len(short) <= 0.75 * len(long) and shortens(short, long):
        worth = 0.8 if len(short) > 2 else 0.55
    slips = 1 + (len(long) >= 8)
    if len(short) >= 4:
        distance = DamerauLevenshtein.distance(short, long, score_cutoff=slips)
        worth = max(worth, 1 - distance / 10) if distance <= slips else worth
    return worth


@dataclass(frozen=True, slots=True)
class Spelling:
    """Known words, what each stands for (rows of length 1) and how telling each is."""

    words: Mapping[str, int]
    alike: sparse.csr_array
    idf: Floats

    def vector(self, text: str) -> Floats | None:
        """Return the weights of a text over the known words, of length 1; None for none."""
        row = np.zeros(len(self.words))
        for word in dict.fromkeys(spelled_words(text)):
            for at, worth in self._stands_for(word):
                span = slice(self.alike.indptr[at], self.alike.indptr[at + 1])
                row[self.alike.indices[span]] += worth * self.alike.data[span]
        row *= self.idf
        length = float(np.sqrt(row @ row))
        return row / length if length > 0 else None

    def _stands_for(self, word: str) -> list[tuple[int, float]]:
        if word in self.words:
            return [(self.words[word], 1.0)]
        if len(word) < 3:
            return []
        near = [(-spelled_alike(word, known), at) for known, at in self.words.items()]
        return [(at, -_UNKNOWN * worth) for worth, at in sorted(near)[:_MOST_NEAR] if worth <= -0.8]


class SpelledRows:
    """All cases over the words that theirs stand for, by word."""

    def __init__(self, spelling: Spelling, words: Postings) -> None:
        self.spelling = spelling
        self.words = words
        size = 1 + int(words.rows.max()) if len(words.rows) else 0
        counted = _rows(spelling.words, words, size) @ spelling.alike
        self._by_word = _of_length_1(counted, spelling.idf).T.tocsr()

    def cosine(self, text: str) -> tuple[Rows, Floats] | None:
        """Return rows and cosines of the cases that share a meaning with ``text``."""
        vector = self.spelling.vector(text)
        if vector is None:
            return None
        total = np.zeros(self._by_word.shape[1])
        lists = np.flatnonzero(vector)
        add_lists(
            total,
            self._by_word.indptr,
            rows=self._by_word.indices,
            values=self._by_word.data,
            lists=lists,
            scales=vector[lists],
        )
        found = np.flatnonzero(total).astype(np.int32)
        return found, total[found]

    def pairs(self, text: str, row: int) -> str:
        """Return the words of ``text`` and of a case that stand for one another."""
        known = list(self.spelling.words)
        said = []
        for word in dict.fromkeys(spelled_words(text)):
            at = self.spelling.words.get(word)
            if at is None or self._has(word, row):
                continue
            span = slice(self.spelling.alike.indptr[at], self.spelling.alike.indptr[at + 1])
            others = (known[int(other)] for other in self.spelling.alike.indices[span])
            said += [f"{word} = {other}" for other in others if self._has(other, row)][:1]
        return ", ".join(said[:3])

    def _has(self, word: str, row: int) -> bool:
        rows = self.words.of(word)
        at = int(np.searchsorted(rows, row))
        return at < len(rows) and int(rows[at]) == row


def _rows(words: Mapping[str, int], found: Postings, size: int) -> sparse.csr_array:
    """Return which case has which known word, shape ``(size, n_words)``."""
    kept = [(at, found.of(word)) for word, at in words.items()]
    ids = np.repeat([at for at, _ in kept], [len(rows) for _, rows in kept]).astype(np.int64)
    rows = np.concatenate([np.zeros(0, np.int64), *(rows for _, rows in kept)])
    return sparse.csr_array((np.ones(len(ids)), (rows, ids)), shape=(size, len(words)))


def _of_length_1(rows: sparse.csr_array, idf: Floats) -> sparse.csr_array:
    scaled = sparse.csr_array(rows @ sparse.diags_array(idf)) if rows.shape[1] else rows
    lengths = np.sqrt(scaled.multiply(scaled).sum(axis=1))
    scale = sparse.diags_array(1 / np.where(lengths > 0, lengths, 1.0))
    return sparse.csr_array(scale @ scaled)


# --- counting ------------------------------------------------------------------------------------


def fit_spelling(texts: Sequence[str]) -> Spelling | None:
    """Return which words of ``texts`` stand for one another; their order changes nothing."""
    told = [spelled_words(text) for text in texts]
    counts = Counter(word for words in told for word in set(words))
    ranked = sorted(counts, key=lambda word: (-counts[word], word))[:MOST_WORDS]
    words = {word: at for at, word in enumerate(sorted(ranked))}
    if not words:
        return None
    pairs = dict(_slips(words))
    pairs.update(_by_neighbours(words, _neighbours(told, words)))
    likeness = (LEAST_LIKENESS, FULL_LIKENESS)
    long = long_forms(told, words, neighbours=_neighbours, likeness=likeness)
    alike = _alike(pairs, long, len(words))
    ids = [(row, words[w]) for row, t in enumerate(told) for w in dict.fromkeys(t) if w in words]
    rows, columns = np.array(ids, np.int64).reshape(-1, 2).T
    shape = (len(told), len(words))
    counted = sparse.csr_array((np.ones(len(rows)), (rows, columns)), shape=shape) @ alike
    frequency = np.asarray((counted > _COUNTED).sum(axis=0), np.float64).ravel()
    return Spelling(words, alike, np.log((1 + len(told)) / (1 + frequency)) + 1)


def _initials(words: Mapping[str, int]) -> Iterator[list[str]]:
    groups: defaultdict[str, list[str]] = defaultdict(list)
    for word in words:
        groups[word[0]].append(word)
    yield from groups.values()


def _slips(words: Mapping[str, int]) -> Iterator[tuple[tuple[int, int], float]]:
    """Yield pairs of long words that are a slip or two apart, whatever stands beside them."""
    for group in _initials(words):
        for first, second in combinations([word for word in group if len(word) >= 6], 2):
            most = 1 + (min(len(first), len(second)) >= 9)
            distance = DamerauLevenshtein.distance(first, second, score_cutoff=most)
            if distance <= most:
                yield (words[first], words[second]), (0.8 if distance == 1 else 0.6)


def _neighbours(told: Sequence[Sequence[str]], words: Mapping[str, int]) -> sparse.csr_array:
    """Return rows of length 1 of how much more often than by chance a word has a neighbour."""
    places: dict[tuple[str, ...], int] = {}
    seen: Counter[tuple[int, int]] = Counter()
    for row in told:
        framed = ("<", *row, ">")
        for before, word, after in zip(framed, row, framed[2:], strict=False):
            if word in words:
                for place in (("before", before), ("after", after), (before, "_", after)):
                    seen[words[word], places.setdefault(place, len(places))] += 1
    pairs = np.array(list(seen), np.int64).reshape(-1, 2)
    counts = np.array(list(seen.values()), np.float64)
    by_word = np.bincount(pairs[:, 0], counts, len(words))
    by_place = np.bincount(pairs[:, 1], counts, len(places))
    lift = np.log(counts * counts.sum() / (by_word[pairs[:, 0]] * by_place[pairs[:, 1]]))
    values = np.maximum(lift, 0.0) * np.log1p(counts)
    made = sparse.csr_array((values, (pairs[:, 0], pairs[:, 1])), (len(words), len(places)))
    return _of_length_1(made, np.ones(len(places)))


def _by_neighbours(
    words: Mapping[str, int], rows: sparse.csr_array
) -> Iterator[tuple[tuple[int, int], float]]:
    for group in _initials(words):
        ids = np.array([words[word] for word in group])
        likeness = sparse.triu(rows[ids] @ rows[ids].T, k=1).tocoo()
        strong = likeness.data >= LEAST_LIKENESS
        places = zip(likeness.row[strong], likeness.col[strong], strict=True)
        for (i, j), value in zip(places, likeness.data[strong], strict=True):
            worth = spelled_alike(group[i], group[j]) * min(1.0, value / FULL_LIKENESS)
            if worth > _LEAST_PAIR:
                yield (int(ids[i]), int(ids[j])), float(worth)


def _alike(
    pairs: Mapping[tuple[int, int], float], one_way: Mapping[tuple[int, int], float], size: int
) -> sparse.csr_array:
    """Return pairs both ways and ``one_way`` with 1 on the diagonal, each row of length 1."""
    worth = {**one_way, **{(at, at): 1.0 for at in range(size)}}
    for (first, second), value in pairs.items():
        worth[first, second] = worth[second, first] = value
    rows, columns = np.array(sorted(worth), np.int64).T
    values = np.array([worth[key] for key in sorted(worth)], np.float64)
    made = sparse.csr_array((values, (rows, columns)), shape=(size, size))
    return _of_length_1(made, np.ones(size))
