"""Rows by key, kept as two arrays: the posting lists of everything that is not text."""

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Rows = NDArray[np.signedinteger[Any]]


@dataclass(frozen=True, slots=True)
class Postings:
    """Rows of key number ``i`` are ``rows[pointers[i]:pointers[i + 1]]``, ascending."""

    keys: dict[str, int]
    pointers: Rows
    rows: Rows

    def span(self, key: str) -> slice:
        """Return where the rows of ``key`` lie in ``rows``; empty for an unknown key."""
        at = self.keys.get(key)
        return slice(0, 0) if at is None else slice(self.pointers[at], self.pointers[at + 1])

    def of(self, key: str) -> Rows:
        """Return the rows of ``key``, none for an unknown key.

        Examples
        --------
        >>> gather([("a", 0), ("b", 0), ("a", 2)])[0].of("a").tolist()
        [0, 2]
        """
        return self.rows[self.span(key)]


def gather(pairs: Iterable[tuple[str, int]]) -> tuple[Postings, Rows]:
    """Return the postings of (key, row) pairs that come in ascending order of rows.

    The second value holds, for each posting, the number of the pair that it came from.
    """
    found: defaultdict[str, list[int]] = defaultdict(list)
    source: defaultdict[str, list[int]] = defaultdict(list)
    for number, (key, row) in enumerate(pairs):
        found[key].append(row)
        source[key].append(number)
    lengths = [len(rows) for rows in found.values()]
    rows = [row for rows in found.values() for row in rows]
    order = [number for numbers in source.values() for number in numbers]
    keys = {key: at for at, key in enumerate(found)}
    pointers = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int32)
    return Postings(keys, pointers, np.array(rows, np.int32)), np.array(order, np.int32)
