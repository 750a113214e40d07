"""How often each thing stands in the cases of each cause: all of it counted at once, then kept."""

from collections.abc import Mapping
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from kb.retrieval.index import CaseIndex
from kb.retrieval.postings import Postings, Rows

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
# What is counted: tokens, fields that were recorded, and measures.
Kind = Literal["tokens", "fields", "measures"]

NO_CAUSE: Final = -1
# Values that are kept in order, 16 bytes each; of a cause and measure an array more counts as
# twenty (our choice).
_MOST_KEPT: Final = 100_000
_EACH: Final = 20


class CauseCounts:
    """Cases by cause and key: what is asked of it costs the same however many cases there are.

    A case that was overturned counts nowhere.

    Parameters
    ----------
    index : CaseIndex
        Fitted.
    causes : array of shape (n_cases,)
        Number of the cause of each case, -1 for none.
    n_causes : int
        Number of causes.
    """

    def __init__(self, index: CaseIndex, causes: Codes, n_causes: int) -> None:
        self.index = index
        self._causes, self._n_causes = causes, n_causes
        counting = np.flatnonzero((causes != NO_CAUSE) & (index.weights_ > 0))
        self._witnesses: Rows = counting[np.argsort(causes[counting], kind="stable")]
        sizes = np.bincount(causes[counting], minlength=n_causes)
        self._ends = np.concatenate([[0], np.cumsum(sizes)])
        self._weights: _ByCause | None = None
        self._counts: dict[Kind, _ByCause] = {}
        self._in_order: dict[tuple[int, str], tuple[Rows, Floats]] = {}
        self._kept = 0

    def witnesses(self, cause: int) -> Rows:
        """Return the rows of the cases of a cause that count, ascending."""
        return self._witnesses[self._ends[cause] : self._ends[cause + 1]]

    def weights(self, token: str) -> Floats:
        """Return the summed weight of the cases with a token by cause, shape ``(n_causes,)``."""
        if self._weights is None:
            self._weights = self._table(self.index.tokens_, self.index.weights_)
        return np.asarray(self._weights.of(token), np.float64)

    def having(self, kind: Kind, key: str, cause: int) -> int:
        """Return how many cases of a cause that count have a key."""
        return int(self._counted(kind).of(key)[cause])

    def having_each(self, kind: Kind, cause: int) -> Codes:
        """Return how many cases of a cause that count have each key, shape ``(n_keys,)``."""
        return np.asarray(self._counted(kind).column(cause), np.int64)

    def values(self, cause: int, measure: str, *, without: int | None = None) -> Floats:
        """Return what the cases of a cause that count read of a measure, ascending.

        Values are in the unit in which the measure is compared; the case in row ``without`` is left
        out.
        """
        known = self._in_order.get((cause, measure))
        if known is None:
            known = self._ordered(self.witnesses(cause), measure)
            if self._kept < _MOST_KEPT:
                self._kept += len(known[0]) + _EACH
                self._in_order[cause, measure] = known
        rows, values = known
        return values if without is None else values[rows != without]

    def _ordered(self, rows: Rows, measure: str) -> tuple[Rows, Floats]:
        """Return those of the rows that have a measure, by their values, and these."""
        span = self.index.measures_.span(measure)
        having = self.index.measures_.rows[span]
        at = np.searchsorted(having, rows)
        inside = at < len(having)
        rows, at = rows[inside], at[inside]
        found = having[at] == rows
        values = self.index.values_[span][at[found]]
        order = np.argsort(values, kind="stable")
        return rows[found][order], values[order]

    def _counted(self, kind: Kind) -> "_ByCause":
        if kind not in self._counts:
            ones = (self.index.weights_ > 0).astype(np.int32)
            self._counts[kind] = self._table(getattr(self.index, f"{kind}_"), ones)
        return self._counts[kind]

    def _table(self, postings: Postings, each: NDArray[Any]) -> "_ByCause":
        """Return the sum of ``each`` over the cases of each key, by cause.

        The product of the two tables adds up a key's cases in the order of their rows.
        """
        known = self._causes != NO_CAUSE
        pointers = np.concatenate([[0], np.cumsum(known)])
        shape = (len(known), self._n_causes)
        by_case = sparse.csr_array((each[known], self._causes[known], pointers), shape=shape)
        ones = np.ones(len(postings.rows), each.dtype)
        shape = (len(postings.keys), len(known))
        by_key = sparse.csr_array((ones, postings.rows, postings.pointers), shape=shape)
        return _ByCause(postings.keys, by_key @ by_case)


class _ByCause:
    """One number a key and cause, most of them 0."""

    def __init__(self, keys: Mapping[str, int], table: sparse.csr_array) -> None:
        self.keys, self.table = keys, table

    def of(self, key: str) -> NDArray[Any]:
        """Return the numbers of a key by cause, 0 for an unknown key."""
        found = np.zeros(self.table.shape[1], self.table.dtype)
        at = self.keys.get(key)
        if at is not None:
            span = slice(self.table.indptr[at], self.table.indptr[at + 1])
            found[self.table.indices[span]] = self.table.data[span]
        return found

    def column(self, cause: int) -> NDArray[Any]:
        """Return the number of every key for one cause."""
        found = np.zeros(self.table.shape[0], self.table.dtype)
        at = np.flatnonzero(self.table.indices == cause)
        found[np.searchsorted(self.table.indptr, at, side="right") - 1] = self.table.data[at]
        return found
