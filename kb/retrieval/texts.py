"""Two texts a case held against those of a question, word by word.

Words spelled alike count for one another: "leaks", "leaking" and "leek" each say much of "leak",
so how a shop writes and how it slips needs no list. How alike two words are depends on these two
alone, how telling one is on the number of cases that have it; so cases compare in the same way
wherever they are kept.
"""

import math
import sys
from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from kb.retrieval.analyzer import SMALL_WORDS, told_words
from kb.retrieval.columns import Names
from kb.retrieval.feature_lists import Lists
from kb.retrieval.lists import add_lists, places
from kb.retrieval.pages import fetch_lists
from kb.retrieval.remembered import Remembered
from kb.retrieval.spelled import SpelledWords, are_alike, length_of, piece_list
from kb.retrieval.text_fit import TextFit

Floats = NDArray[np.float32]
Numbers = NDArray[np.int32]

# Letters with which two words must begin alike to be shown as one (our choice).
_SAME_START: Final = 3
_LAST_LETTER: Final = chr(sys.maxunicode)
# First letters whose words are remembered (our choice; some 200 bytes each).
_MOST_REMEMBERED: Final = 4096


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedWords:
    """The words of a question and the words of the cases that they stand for.

    Word ``names[asked[k]]`` stands for word number ``ids[k]`` of the cases, which counts
    ``weights[k]``.
    """

    names: tuple[str, ...]
    asked: Numbers
    ids: Numbers
    weights: Floats

    def summed(self) -> tuple[Numbers, Floats]:
        """Return each word of the cases once, ascending, with all that it counts."""
        # Words come in runs that ascend, which a stable sort only has to merge.
        order = self.ids.argsort(kind="stable")
        ids = self.ids[order]
        first = np.ones(len(ids), np.bool_)
        np.not_equal(ids[1:], ids[:-1], out=first[1:])
        weights = np.bincount(first.cumsum() - 1, weights=self.weights[order])
        return ids[first], weights.astype(np.float32)


def word_weight(word: str, *, rarity: float) -> float:
    """Return what a word counts: ``sqrt(l * idf)``, l the length of its counted pieces.

    Long and rare words tell most; of the powers .25 to 1 of either, the halves did best on five
    public sets of short work orders.

    Parameters
    ----------
    word : str
        The word.
    rarity : float
        ``idf = ln((1 + n) / (1 + df)) + 1``, df the cases of n that have it.
    """
    return math.sqrt(length_of(word) * rarity)


@dataclass(frozen=True, slots=True)
class Rarities:
    """How rare words are among ``n_cases``: ``idf`` by the number of a word."""

    words: Mapping[str, int]
    idf: Floats
    n_cases: int

    def rarity(self, word: str) -> float:
        """Return the ``idf`` of a word, see ``word_weight``; most for one that no case has."""
        at = self.words.get(word)
        return float(self.idf[at]) if at is not None else math.log(1 + self.n_cases) + 1


class CaseTexts:
    """The texts of all cases by word; ``cosines`` holds those of a question against them.

    Words are numbered in order of their letters.

    The cosine of two texts is ``a' G b / (|a| |b|)``: a and b hold ``(1 + ln count)`` times the
    weight of each word, G how alike two words are (0 below a limit), ``|a|`` is the length of the
    text over the pieces of its words.

    References
    ----------
    Sidorov, Gelbukh, Gomez-Adorno & Pinto (2014), Soft similarity and soft cosine measure (from
    memory); the weights of terms as in Salton & Buckley (1988), table 1 (from memory).
    """

    def __init__(
        self,
        spelled: SpelledWords,
        idf: Floats,
        *,
        pointers: Numbers,
        rows: Numbers,
        values: Floats,
        n_cases: int,
    ) -> None:
        self.spelled = spelled
        self.idf = idf
        self.pointers, self.rows, self.values = pointers, rows, values
        self.n_cases = n_cases
        names = spelled.words
        self.words: Sequence[str] = names.names if isinstance(names, Names) else tuple(names)
        # Those among which words tell as much as they do here, where it is not these.
        self.like: Rarities | None = None
        self._begin = Remembered[str, tuple[int, int]](_MOST_REMEMBERED)

    @classmethod
    def of(cls, columns: Sequence[Lists], *, like: Rarities | None = None) -> "CaseTexts":
        """Return the texts by word; ``columns`` hold how often each case's text has each word.

        A list holds, for each case with the word, the sum over its texts of weights of length 1.
        With ``like``, a word tells as much as it does among those texts, so that scores of both
        may be set side by side.
        """
        fit = TextFit(None if like is None else like.rarity)
        fit.count(columns)
        fit.put(columns)
        return cls.fitted(fit, like=like)

    @classmethod
    def fitted(cls, fit: TextFit, *, like: Rarities | None = None) -> "CaseTexts":
        """Return the texts that were put into ``fit``, see ``of``."""
        words = fit.made()
        made = cls(
            words.spelled,
            words.idf,
            pointers=words.gathered.pointers,
            rows=words.gathered.rows,
            values=words.gathered.values,
            n_cases=fit.n_cases,
        )
        made.like = like
        return made

    def ask(self, texts: Sequence[str]) -> AskedWords:
        """Return the words of a question, which may have several texts, and what they stand for."""
        counts: defaultdict[str, float] = defaultdict(float)
        for text in texts:
            for word, weight in self._of_length_1(Counter(told_words(text))).items():
                counts[word] += weight
        names = tuple(sorted(counts))
        near = [self.spelled.near(word) for word in names]
        sizes = [len(ids) for ids, _ in near]
        scales = np.repeat(np.array([counts[word] for word in names], np.float32), sizes)
        alike = np.concatenate([alike for _, alike in near] or [np.zeros(0, np.float32)])
        return AskedWords(
            names=names,
            asked=np.repeat(np.arange(len(names), dtype=np.int32), sizes),
            ids=np.concatenate([ids for ids, _ in near] or [np.zeros(0, np.int32)]),
            weights=scales * alike,
        )

    def rarity(self, word: str) -> float:
        """Return the ``idf`` of a word, see ``word_weight``."""
        return self.rarities.rarity(word)

    @property
    def rarities(self) -> Rarities:
        """How rare words are among these cases, or among those that they are like."""
        return self.like or Rarities(self.spelled.words, self.idf, self.n_cases)

    def without_cases(self) -> "CaseTexts":
        """Return the same words, which count in no case."""
        none = np.zeros(0, np.int32)
        made = copy(self)
        made.pointers, made.rows = np.zeros(len(self.words) + 1, np.int32), none
        made.values = none.astype(np.float32)
        return made

    def _of_length_1(self, counted: Mapping[str, int]) -> dict[str, float]:
        rarity = self.rarities.rarity
        weights = {
            word: (1 + math.log(n)) * word_weight(word, rarity=rarity(word))
            for word, n in sorted(counted.items())
        }
        spread: defaultdict[str, float] = defaultdict(float)
        for word, weight in weights.items():
            scale = weight / length_of(word)
            for piece in piece_list(word):
                spread[piece] += scale
        length = math.sqrt(sum(n * n for n in spread.values()))
        return {word: weight / length for word, weight in weights.items()}

    def cosines(self, asked: AskedWords) -> Floats:
        """Return the summed cosines of each text of a question with each of every case.

        Shape ``(n_cases,)``; 0 to the number of pairs of texts.
        """
        total = np.zeros(self.n_cases, np.float32)
        ids, weights = asked.summed()
        fetch_lists((self.rows, self.values), self.pointers, ids)
        add_lists(
            total, self.pointers, rows=self.rows, values=self.values, lists=ids, scales=weights
        )
        return total

    def by_word(self) -> sparse.csr_array:
        """Return what each word counts in each case, shape ``(n_words, n_cases)``."""
        shape = (len(self.words), self.n_cases)
        return sparse.csr_array((self.values, self.rows, self.pointers), shape=shape)

    def pairs(self) -> NDArray[np.float64]:
        """Return the summed cosines of all cases with each other, shape ``(n_cases, n_cases)``."""
        unit = self.spelled.unit_rows()
        alike = sparse.csr_array(unit @ unit.T)
        alike.data[~are_alike(alike.data)] = 0
        by_word = self.by_word().astype(np.float64)
        found: NDArray[np.float64] = (by_word.T @ (alike @ by_word)).toarray()
        return found

    def shared(self, asked: AskedWords, cases: Numbers, *, most: int) -> list[dict[str, str]]:
        """Return, for each of ``cases``, the words asked that its cosines come from.

        With each stands the word of the case that gives most for it; of at most ``most`` the largest
        part comes first. Small words are left out, and words that do not begin alike: that "town"
        is also a little like "down" counts, but convinces nobody.
        """
        found: list[dict[str, str]] = [{} for _ in cases]
        told = self._told(asked)
        entries, columns, at = places(self.pointers, self.rows, lists=asked.ids[told], wanted=cases)
        entries = told[entries]
        parts = asked.weights[entries] * self.values[at]
        order = np.lexsort((entries, -parts))
        entries, columns = entries[order], columns[order]
        pairs = asked.asked[entries].tolist(), asked.ids[entries].tolist(), columns.tolist()
        names, words = asked.names, self.words
        for name, word, column in zip(*pairs, strict=True):
            here, said = found[column], names[name]
            if len(here) < most and said not in here:
                here[said] = words[word]
        return found

    def _told(self, asked: AskedWords) -> NDArray[np.int64]:
        """Return the places in ``asked`` of the pairs of words that are shown."""
        spans = [(0, 0) if n in SMALL_WORDS else self._beginning(n) for n in asked.names]
        first, last = np.array([*spans, (0, 0)], np.int32).T
        ids, names = asked.ids, asked.asked
        return np.flatnonzero((first[names] <= ids) & (ids < last[names]))

    def _beginning(self, name: str) -> tuple[int, int]:
        """Return from which to before which number the words begin as a name does."""
        start = name[:_SAME_START]
        found = self._begin.get(start)
        if found is None:
            first = bisect_left(self.words, start)
            if len(start) < _SAME_START:
                last = first + (self.words[first : first + 1] == (start,))
            else:
                last = bisect_left(self.words, start + _LAST_LETTER, first)
            found = self._begin.keep(start, (first, last))
        return found
