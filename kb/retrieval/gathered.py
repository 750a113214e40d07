"""Posting lists out of lists that come some cases at a time: counted first, then put in place."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray
from scipy import sparse

from kb.retrieval.feature_lists import Lists
from kb.retrieval.postings import Postings

Ids = NDArray[np.int32]


class CountedNames:
    """The names of all chunks, numbered in order, and how many cases have each."""

    def __init__(self) -> None:
        self._known: dict[str, int] = {}
        self._chunks: list[tuple[Ids, NDArray[np.int64]]] = []

    def count(self, names: Sequence[str], counts: NDArray[np.int64]) -> None:
        """Take in the names of one chunk with how many of its cases have each."""
        known = self._known
        numbers = (known.setdefault(name, len(known)) for name in names)
        self._chunks.append((np.fromiter(numbers, np.int32, len(names)), counts))

    def in_order(self) -> tuple[tuple[str, ...], NDArray[np.int64], list[Ids]]:
        """Return all names, in order, how many cases have each, and the numbers by chunk."""
        names = list(self._known)
        order = sorted(range(len(names)), key=names.__getitem__)
        rank = np.zeros(len(names), np.int32)
        rank[order] = np.arange(len(names), dtype=np.int32)
        numbers = [rank[own] for own, _ in self._chunks]
        total = np.zeros(len(names), np.int64)
        for own, (_, counts) in zip(numbers, self._chunks, strict=True):
            total[own] += counts
        return tuple(names[at] for at in order), total, numbers


class Gathered:
    """Rows by name of all chunks, in memory that is taken once.

    Parameters
    ----------
    counts : array of shape (n_names,)
        How many cases have each name.
    dtype : dtype or None
        Of the values that go with the rows; None keeps none.
    """

    def __init__(self, counts: NDArray[np.int64], dtype: DTypeLike | None = None) -> None:
        self.pointers = np.concatenate([[0], np.cumsum(counts)]).astype(np.int32)
        self.rows = np.empty(int(self.pointers[-1]), np.int32)
        self.values: NDArray[Any] = np.empty(0 if dtype is None else len(self.rows), dtype)
        self._keeps = dtype is not None
        self._free = self.pointers[:-1].astype(np.int64)
        self._first = 0

    def put(self, table: sparse.csr_array, numbers: Ids | None = None) -> None:
        """Put in the next cases, shape ``(n_cases, n_names)``.

        Parameters
        ----------
        table : csr_array
            What each case has.
        numbers : array of shape (n_names of the chunk,), optional
            The number here of each name of the table; without it they are the same.
        """
        by_name = table.tocsc()
        pointers = by_name.indptr.astype(np.int64)
        sizes = np.diff(pointers)
        own = slice(None) if numbers is None else numbers
        at = np.repeat(self._free[own] - pointers[:-1], sizes)
        at += np.arange(len(at))
        self.rows[at] = by_name.indices + np.int32(self._first)
        if self._keeps:
            self.values[at] = by_name.data
        self._free[own] += sizes
        self._first += table.shape[0]


class GatheredLists:
    """Postings of one column of lists, see ``Gathered``.

    All chunks are counted, then all are put, in the same order.
    """

    def __init__(self, dtype: DTypeLike | None = None) -> None:
        self._names = CountedNames()
        self._dtype = dtype
        self._chunks: list[Ids] = []
        self._made: Gathered | None = None
        self._keys: tuple[str, ...] = ()

    def count(self, lists: Lists) -> None:
        """Count the names of the next cases."""
        self._names.count(lists.names, lists.counts())

    def put(self, lists: Lists) -> None:
        """Put in the next cases."""
        if self._made is None:
            self._keys, counts, self._chunks = self._names.in_order()
            self._made = Gathered(counts, self._dtype)
            self._chunks.reverse()
        self._made.put(lists.table(), self._chunks.pop())

    def postings(self) -> tuple[Postings, NDArray[Any]]:
        """Return the cases by name, and the values in that order."""
        made = self._made or Gathered(np.zeros(0, np.int64), self._dtype)
        keys = {name: at for at, name in enumerate(self._keys)}
        return Postings(keys, made.pointers, made.rows), made.values
