"""For each case the names that it has, as plain arrays that are put together and turned about."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import chain
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

Numbers = NDArray[np.int64]
Ids = NDArray[np.int32]
Floats = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class Lists:
    """For each case the names that it has, each with a value.

    Those of case ``i`` are ``names[ids[k]]`` with ``values[k]``, k from ``ends[i]`` to
    ``ends[i + 1]``. Names are in order and all of them are somewhere.
    """

    names: tuple[str, ...]
    ends: Numbers
    ids: Ids
    values: Floats

    @classmethod
    def of(cls, cases: Iterable[Sequence[str]], values: Iterable[float]) -> "Lists":
        """Return the names of all cases, in their order, and a value for each of them."""
        names, ends, ids = _numbered(cases)
        return cls(names, ends, ids, np.fromiter(values, np.float64, len(ids)))

    @classmethod
    def counted(cls, cases: Iterable[Sequence[str]], *, once: bool = False) -> "Lists":
        """Return each name once a case, in order, with how often it is there, or with 1."""
        names, ends, ids = _numbered(cases)
        ones = np.ones(len(ids), np.float32)
        table = sparse.csr_array((ones, ids, ends), shape=(len(ends) - 1, len(names)))
        table.sum_duplicates()
        counts = np.ones_like(table.data) if once else table.data
        return cls(names, table.indptr.astype(np.int64), table.indices.astype(np.int32), counts)

    def in_order(self) -> "Lists":
        """Return them with only the names that a case has, in order."""
        used = np.flatnonzero(np.bincount(self.ids, minlength=len(self.names))).tolist()
        order = sorted(used, key=self.names.__getitem__)
        number = np.full(len(self.names), -1, np.int32)
        number[order] = np.arange(len(order))
        names = tuple(self.names[at] for at in order)
        return Lists(names, self.ends, number[self.ids], self.values)

    def take(self, rows: Numbers) -> "Lists":
        """Return the lists of some cases, in that order."""
        sizes = np.diff(self.ends)[rows]
        ends = np.concatenate([[0], np.cumsum(sizes)])
        at = np.arange(ends[-1]) + np.repeat(self.ends[:-1][rows] - ends[:-1], sizes)
        return Lists(self.names, ends, self.ids[at], self.values[at]).in_order()

    def then(self, others: "Lists") -> "Lists":
        """Return the lists of both, one after the other."""
        names = dict.fromkeys((*self.names, *others.names))
        number = {name: at for at, name in enumerate(names)}
        moved = np.array([number[name] for name in others.names], np.int32)
        ids = np.concatenate([self.ids, moved[others.ids]])
        ends = np.concatenate([self.ends, self.ends[-1] + others.ends[1:]])
        values = np.concatenate([self.values, others.values])
        return Lists(tuple(names), ends, ids, values).in_order()

    def __len__(self) -> int:
        """Return the number of cases."""
        return len(self.ends) - 1

    def counts(self) -> Numbers:
        """Return how often each name is there, shape ``(n_names,)``."""
        return np.bincount(self.ids, minlength=len(self.names))

    def table(self) -> sparse.csr_array:
        """Return the value of each name of each case, shape ``(n_cases, n_names)``."""
        shape = (len(self), len(self.names))
        return sparse.csr_array((self.values, self.ids, self.ends), shape=shape)


def _numbered(cases: Iterable[Sequence[str]]) -> tuple[tuple[str, ...], Numbers, Ids]:
    """Return all names in order, where the names of each case end, and the number of each."""
    rows = list(cases)
    every = list(chain.from_iterable(rows))
    names = tuple(sorted(set(every)))
    known = {name: at for at, name in enumerate(names)}
    ids = np.fromiter(map(known.__getitem__, every), np.int32, len(every))
    ends = np.zeros(len(rows) + 1, np.int64)
    np.cumsum(np.fromiter(map(len, rows), np.int64, len(rows)), out=ends[1:])
    return names, ends, ids
