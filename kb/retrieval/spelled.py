"""Words by their pieces of two and three letters: finds those that are spelled like a given one."""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from kb.retrieval.analyzer import word_grams
from kb.retrieval.feature_lists import Lists
from kb.retrieval.lists import add_lists
from kb.retrieval.remembered import Remembered

Floats = NDArray[np.float32]
Numbers = NDArray[np.int32]
Counts = NDArray[np.int16]

# Lengths of the pieces, and the likeness below which two words have nothing to do with each other.
# On five public sets of short work orders pieces of 2 and 3 at .4 give nDCG@10 .575, .292, .872,
# .751, .541; at .3 and .5 .577, .292, .877, .765, .533 and .582, .296, .827, .722, .545; pieces of 2
# to 4 are as good. Words, pairs of words and characters of whole texts gave .516, .296, .794, .664,
# .515.
LENGTHS: Final = (2, 3)
LEAST_ALIKE: Final = 0.4
# Two words may stand on the very limit; however their likeness is rounded, they are alike.
_ROUNDED: Final = 1e-6
# What a turned word counts, in pieces: as much as a word of four letters (our choice; 2 and 3 do
# alike).
_TURNED: Final = 3
# Steps of one in which lengths of words are held to tell most words apart from a question's by
# whole numbers. What is multiplied by it stays below 2^15: a word counts up to 64 letters, so that
# it has 65 pieces of one length at most, and its length is at most 92.
_STEPS: Final = 64
# Words of questions whose likeness is remembered (our choice; some 300 bytes each).
_MOST_REMEMBERED: Final = 4096


def piece_list(word: str) -> tuple[str, ...]:
    """Return the pieces of a word; a turned word is like itself alone.

    Examples
    --------
    >>> piece_list("no reverse")
    ('no reverse', 'no reverse', 'no reverse')
    """
    return (word,) * _TURNED if " " in word else word_grams(word, LENGTHS)


def pieces(word: str) -> Counter[str]:
    """Return the pieces of a word with their counts."""
    return Counter(piece_list(word))


def are_alike(likeness: NDArray[np.floating[Any]]) -> NDArray[np.bool_]:
    """Return which of these likenesses of words are such that one counts for the other."""
    return np.asarray(likeness >= LEAST_ALIKE - _ROUNDED)


@lru_cache(maxsize=_MOST_REMEMBERED)
def length_of(word: str) -> float:
    """Return the Euclidean length of the counted pieces of a word."""
    return float(np.sqrt(sum(n * n for n in pieces(word).values())))


@dataclass(frozen=True)
class SpelledWords:
    """Known words by their pieces.

    ``rows`` and ``counts`` hold the words with piece number ``i`` and how often they have it, from
    ``pointers[i]`` to ``pointers[i + 1]``; ``lengths`` is of shape ``(n_words,)``.
    """

    words: Mapping[str, int]
    pieces: Mapping[str, int]
    pointers: Numbers
    rows: Numbers
    counts: Counts
    lengths: Floats
    _known: Remembered[str, tuple[Numbers, Floats]] = field(
        default_factory=lambda: Remembered(_MOST_REMEMBERED), compare=False, repr=False
    )

    @classmethod
    def of(cls, words: Sequence[str]) -> "SpelledWords":
        """Return the words by their pieces, numbered as they come; pieces are in order."""
        lists = Lists.counted(map(piece_list, words))
        by_word = lists.table()
        lengths = np.sqrt(by_word.multiply(by_word).sum(axis=1))
        by_piece = by_word.T.tocsr()
        return cls(
            words={word: at for at, word in enumerate(words)},
            pieces={piece: at for at, piece in enumerate(lists.names)},
            pointers=by_piece.indptr.astype(np.int32),
            rows=by_piece.indices.astype(np.int32),
            counts=by_piece.data.astype(np.int16),
            lengths=np.asarray(lengths, np.float32).ravel(),
        )

    def unit_rows(self) -> sparse.csr_array:
        """Return the counted pieces of every word, of length 1, shape ``(n_words, n_pieces)``."""
        shape = (len(self.pieces), len(self.words))
        by_piece = sparse.csr_array((self.counts, self.rows, self.pointers), shape=shape)
        by_word = by_piece.T.tocsr().astype(np.float64)
        by_word.data /= np.repeat(self.lengths.astype(np.float64), np.diff(by_word.indptr))
        return by_word

    def near(self, word: str) -> tuple[Numbers, Floats]:
        """Return the numbers of the words spelled like ``word``, ascending, and how like they are.

        The likeness is the cosine of the counted pieces, from ``LEAST_ALIKE`` to 1.
        """
        found = self._known.get(word)
        if found is None:
            found = self._known.keep(word, self._near(word))
        return found

    @cached_property
    def _steps(self) -> Counts:
        """Return the lengths in whole steps, rounded down."""
        return (self.lengths * np.float32(_STEPS)).astype(np.int16)

    def _near(self, word: str) -> tuple[Numbers, Floats]:
        known = self.pieces.get
        pairs = [(at, n) for p, n in pieces(word).items() if (at := known(p)) is not None]
        shared = np.zeros(len(self.words), np.int16)
        add_lists(
            shared,
            self.pointers,
            rows=self.rows,
            values=self.counts,
            lists=np.array([at for at, _ in pairs], np.int32),
            scales=np.array([n for _, n in pairs], np.int16),
        )
        length = length_of(word)
        # Those that may be alike: ``shared / LEAST_ALIKE length >= lengths`` in whole steps, the
        # left side rounded up and the right one down.
        most = np.int16(math.ceil(_STEPS / ((LEAST_ALIKE - _ROUNDED) * length)))
        ids = np.flatnonzero(shared * most >= self._steps).astype(np.int32)
        alike = shared[ids] / (self.lengths[ids] * np.float32(length))
        near = are_alike(alike)
        return ids[near], alike[near]
