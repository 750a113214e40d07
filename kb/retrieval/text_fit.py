"""What each word counts in each case: texts that come some cases at a time become lists by word."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from kb.retrieval.feature_lists import Lists
from kb.retrieval.gathered import CountedNames, Gathered
from kb.retrieval.spelled import SpelledWords

Ids = NDArray[np.int32]
Floats = NDArray[np.float64]

# Cases whose lengths are reckoned at once, and by how many threads: bounds the memory (our choice).
_AT_ONCE: Final = 5_000
_THREADS: Final = 2


@dataclass(frozen=True, slots=True)
class FittedWords:
    """The words of all cases, what each counts, and which case has it.

    ``weights`` has shape ``(n_words,)``, ``unit`` the pieces of each word, of length 1; a case of a
    word holds the sum over its texts of weights of length 1.
    """

    spelled: SpelledWords
    idf: NDArray[np.float32]
    weights: Floats
    unit: sparse.csr_array
    gathered: Gathered


@dataclass(frozen=True, slots=True)
class _Chunk:
    """The words of some cases, in order, and for each of their texts the number of its words."""

    words: tuple[str, ...]
    numbers: tuple[Ids, ...]

    @classmethod
    def of(cls, columns: Sequence[Lists]) -> "_Chunk":
        words = tuple(sorted({word for column in columns for word in column.names}))
        at = {word: number for number, word in enumerate(words)}
        numbers = [
            np.fromiter(map(at.__getitem__, c.names), np.int32, len(c.names)) for c in columns
        ]
        return cls(words, tuple(numbers))


class TextFit:
    """Fits texts: all chunks are counted, then all are put, in the same order.

    A chunk has for each text of its cases how often each word is in it. ``rarity`` gives the idf of
    a word; without it the cases themselves do.
    """

    def __init__(self, rarity: Callable[[str], float] | None = None) -> None:
        self._rarity = rarity
        self._names = CountedNames()
        self._chunks: list[tuple[Ids, ...]] = []
        self._words: FittedWords | None = None
        self.n_cases = 0

    def count(self, columns: Sequence[Lists]) -> None:
        """Count the words of the next cases."""
        chunk = _Chunk.of(columns)
        held = sparse.csr_array((len(columns[0]), len(chunk.words)), dtype=np.float32)
        for column, numbers in zip(columns, chunk.numbers, strict=True):
            parts = (column.values.astype(np.float32), numbers[column.ids], column.ends)
            held = held + sparse.csr_array(parts, shape=held.shape)
        self._names.count(chunk.words, np.bincount(held.indices, minlength=len(chunk.words)))
        self._chunks.append(chunk.numbers)
        self.n_cases += len(columns[0])

    def _prepare(self) -> "FittedWords":
        """Learn what each word counts, once all are counted."""
        names, counts, ranks = self._names.in_order()
        own = zip(self._chunks, ranks, strict=True)
        self._chunks = [tuple(rank[at] for at in columns) for columns, rank in own]
        self._chunks.reverse()
        spelled = SpelledWords.of(names)
        if self._rarity is None:
            idf = np.log((1 + self.n_cases) / (1 + counts)) + 1
        else:
            idf = np.array([self._rarity(name) for name in names], np.float64)
        # As it is kept: the same text is the same to the last bit, now and in a later layer.
        idf = idf.astype(np.float32)
        weights = np.sqrt(spelled.lengths.astype(np.float64) * idf)
        gathered = Gathered(counts, np.float32)
        return FittedWords(spelled, idf, weights, spelled.unit_rows(), gathered)

    def put(self, columns: Sequence[Lists]) -> None:
        """Put in the next cases."""
        if self._words is None:
            self._words = self._prepare()
        numbers, words = self._chunks.pop(), self._words
        total = sparse.csr_array((len(columns[0]), len(words.weights)))
        for column, own in zip(columns, numbers, strict=True):
            ids = own[column.ids]
            values = (1 + np.log(column.values.astype(np.float64))) * words.weights[ids]
            made = sparse.csr_array((values, ids, column.ends), shape=total.shape)
            total = total + _of_length_1(made, words.unit)
        words.gathered.put(total)

    def made(self) -> "FittedWords":
        """Return what each word counts in each case, once all are put."""
        if self._words is None:
            self._words = self._prepare()
        return self._words


def _of_length_1(made: sparse.csr_array, unit: sparse.csr_array) -> sparse.csr_array:
    """Return texts by word, each of length 1 over the pieces of its words."""
    each = np.ones(unit.shape[1])

    def length(start: int) -> Floats:
        spread = made[start : start + _AT_ONCE] @ unit
        np.square(spread.data, out=spread.data)
        return np.asarray(np.sqrt(spread @ each))

    # Products of sparse matrices leave the interpreter's lock: two threads use two processors.
    with ThreadPoolExecutor(_THREADS) as threads:
        parts = threads.map(length, range(0, made.shape[0], _AT_ONCE))
        lengths = np.concatenate([np.zeros(0), *parts])
    made.data /= np.repeat(np.where(lengths > 0, lengths, 1.0), np.diff(made.indptr))
    return made
