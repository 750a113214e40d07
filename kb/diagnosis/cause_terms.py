"""The terms of the texts of all causes in one table of plain arrays, looked up as they are asked for."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from kb.retrieval.column_arrays import column, pack_column
from kb.retrieval.columns import Names
from kb.retrieval.kept_arrays import Arrays
from kb.retrieval.learn import ANALYZERS
from kb.retrieval.vectors import TextSpace

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
_Row = np.int32

# What came in and what was found, each by words and by characters.
SPACES: Final = tuple(f"{text} {kind}" for text in ("said", "told") for kind in ANALYZERS)
UNKNOWN: Final = -1


def kind_of(space: str) -> str:
    """Return whether a space is of words or of characters."""
    return space.partition(" ")[2]


def term_arrays(spaces: Mapping[str, TextSpace]) -> Arrays:
    """Return the spaces as arrays, their postings one below the other.

    Parameters
    ----------
    spaces : mapping of str to TextSpace
        Fitted, by name as in ``SPACES``, in their order.
    """
    stacked = sparse.vstack([spaces[name].postings_ for name in SPACES], format="csr")
    # Half the bytes to fetch for each posting.
    arrays: Arrays = {
        "pointers": stacked.indptr.astype(_Row),
        "rows": stacked.indices.astype(_Row),
        "values": stacked.data,
        "size": np.array([stacked.shape[1]], np.int64),
    }
    ends = np.cumsum([0, *(len(spaces[name].terms_) for name in SPACES)])
    firsts = dict(zip(SPACES, ends.tolist(), strict=False))
    for kind in ANALYZERS:
        mine = [name for name in SPACES if kind_of(name) == kind]
        terms = sorted({term for name in mine for term in spaces[name].terms_})
        pack_column(arrays, f"{kind} terms", terms)
        for name in mine:
            known = spaces[name].terms_
            # The last one stands for a term that no space knows.
            places = (known.get(term, UNKNOWN) for term in (*terms, ""))
            rows = np.fromiter(places, _Row, len(terms) + 1)
            arrays[f"{name} lists"] = np.where(rows < 0, UNKNOWN, rows + _Row(firsts[name]))
    return arrays


class CauseTerms:
    """The terms of all causes: in which list of the table each lies.

    Parameters
    ----------
    arrays : mapping
        As ``term_arrays`` gives them.

    Attributes
    ----------
    pointers, rows, values : arrays
        The table: list ``i`` holds the causes ``rows`` with a term and its ``values`` there, from
        ``pointers[i]`` to ``pointers[i + 1]``.
    """

    def __init__(self, arrays: Mapping[str, NDArray[Any]]) -> None:
        self.arrays = arrays
        self.pointers, self.rows, self.values = (
            arrays[name] for name in ("pointers", "rows", "values")
        )
        self._size = int(arrays["size"][0])
        self._lists = {name: arrays[f"{name} lists"] for name in SPACES}
        self._names = {kind: Names(column(arrays, f"{kind} terms")) for kind in ANALYZERS}

    def numbers(self, kind: str, terms: Sequence[str]) -> Codes:
        """Return the number of each term among those of a kind, ``UNKNOWN`` for one not known."""
        names = self._names[kind]
        return np.array([names.get(term, UNKNOWN) for term in terms], np.int64)

    def lists(self, space: str, numbers: Codes) -> NDArray[np.int32]:
        """Return in which list of the table terms of a space lie, ``UNKNOWN`` where in none."""
        return np.asarray(self._lists[space][numbers], _Row)

    def in_order(self, kind: str, numbers: Codes) -> Codes:
        """Return what puts terms in the order in which they first came."""
        first = np.full(len(numbers), UNKNOWN, _Row)
        for space in SPACES:
            if kind_of(space) == kind:
                first = np.where(first < 0, self.lists(space, numbers), first)
        return np.argsort(first, kind="stable")

    def idf(self, lists: NDArray[np.int32]) -> Floats:
        """Return how telling the terms of lists are, as ``TextSpace`` reckons it."""
        having = (self.pointers[lists + 1] - self.pointers[lists]).astype(np.int64)
        weights: Floats = np.log((1 + self._size) / (1 + having)) + 1
        return weights
