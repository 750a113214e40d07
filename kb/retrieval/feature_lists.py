"""For each case the names that it has, as plain arrays that are put together and turned about."""

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kb.retrieval.analyzer import told_words
from kb.retrieval.postings import Postings

Numbers = NDArray[np.int64]
Floats = NDArray[np.float64]
Pairs = Iterable[tuple[str, float]]


@dataclass(frozen=True, slots=True)
class Lists:
    """For each case the names that it has, each with a value.

    Those of case ``i`` are ``names[ids[k]]`` with ``values[k]``, k from ``ends[i]`` to
    ``ends[i + 1]``. Names are in order and all of them are somewhere.
    """

    names: tuple[str, ...]
    ends: Numbers
    ids: Numbers
    values: Floats

    @classmethod
    def of(cls, cases: Iterable[Pairs]) -> "Lists":
        """Return the names and values of all cases, in their order."""
        known: dict[str, int] = {}
        ids: list[int] = []
        values: list[float] = []
        ends = [0]
        for pairs in cases:
            for name, value in pairs:
                ids.append(known.setdefault(name, len(known)))
                values.append(value)
            ends.append(len(ids))
        return cls(
            tuple(known), np.array(ends, np.int64), np.array(ids, np.int64), np.array(values, float)
        ).in_order()

    def in_order(self) -> "Lists":
        """Return them with only the names that a case has, in order."""
        used = np.unique(self.ids).tolist()
        order = sorted(used, key=self.names.__getitem__)
        number = np.full(len(self.names), -1, np.int64)
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
        moved = np.array([number[name] for name in others.names], np.int64)
        ids = np.concatenate([self.ids, moved[others.ids]])
        ends = np.concatenate([self.ends, self.ends[-1] + others.ends[1:]])
        values = np.concatenate([self.values, others.values])
        return Lists(tuple(names), ends, ids, values).in_order()

    @property
    def rows(self) -> Numbers:
        """The case of each value."""
        return np.repeat(np.arange(len(self.ends) - 1), np.diff(self.ends))

    def postings(self) -> tuple[Postings, Floats]:
        """Return the cases by name, and the values in that order."""
        order = np.argsort(self.ids, kind="stable")
        counts = np.bincount(self.ids, minlength=len(self.names))
        pointers = np.concatenate([[0], np.cumsum(counts)]).astype(np.int32)
        keys = {name: at for at, name in enumerate(self.names)}
        rows = self.rows[order].astype(np.int32)
        return Postings(keys, pointers, rows), self.values[order]

    def named(self, rename: Callable[[str], str]) -> "Lists":
        """Return them under other names; names that become one are there once a case."""
        known = {name: at for at, name in enumerate(sorted({rename(name) for name in self.names}))}
        number = np.array([known[rename(name)] for name in self.names], np.int64)
        pairs = np.unique(self.rows * max(1, len(known)) + number[self.ids])
        rows, ids = np.divmod(pairs, max(1, len(known)))
        ends = np.searchsorted(rows, np.arange(len(self.ends)))
        return Lists(tuple(known), ends, ids, np.ones(len(ids)))


def counted_words(text: str) -> list[tuple[str, float]]:
    """Return the words of a text, in order, each with how often it is there."""
    return sorted(Counter(told_words(text)).items())


def once(names: Iterable[str]) -> list[tuple[str, float]]:
    """Return names, each once, each with 1."""
    return [(name, 1.0) for name in dict.fromkeys(names)]
