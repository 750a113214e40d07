"""Rows by key, kept as two arrays: the posting lists of everything that is not text."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Rows = NDArray[np.signedinteger[Any]]


@dataclass(frozen=True, slots=True)
class Postings:
    """Rows of key number ``i`` are ``rows[pointers[i]:pointers[i + 1]]``, ascending."""

    keys: Mapping[str, int]
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
        >>> Postings({"a": 0, "b": 1}, np.array([0, 2, 3]), np.array([0, 2, 0])).of("a").tolist()
        [0, 2]
        """
        return self.rows[self.span(key)]
