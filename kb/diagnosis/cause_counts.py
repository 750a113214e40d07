"""How often each thing stands in the cases of each cause: all of it counted at once, then kept."""

from collections.abc import Mapping
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from kb.diagnosis.cause_rows import NO_CAUSE, CauseRows
from kb.retrieval.column_arrays import named_for, part_of
from kb.retrieval.index import CaseIndex
from kb.retrieval.kept_arrays import Arrays
from kb.retrieval.postings import Postings, Rows

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
# What is counted: tokens, fields that were recorded, and measures.
Kind = Literal["tokens", "fields", "measures"]

KINDS: Final[tuple[Kind, ...]] = ("tokens", "fields", "measures")
_WEIGHTS: Final = "weights"
_PARTS: Final = ("pointers", "causes", "sums")
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
    rows : CauseRows
        Its cases by cause.
    kept : mapping, optional
        What ``as_arrays`` gave of the same cases; nothing is counted again then.
    """

    def __init__(
        self,
        index: CaseIndex,
        rows: CauseRows,
        kept: Mapping[str, NDArray[Any]] | None = None,
    ) -> None:
        self.index, self._rows = index, rows
        self._tables: dict[str, _ByCause] = {}
        for name in (*KINDS, _WEIGHTS) if kept else ():
            arrays = part_of(kept or {}, name) or part_of(kept or {}, "tokens")
            self._tables[name] = _ByCause(arrays, self._keys(name), rows)
        # The summed weight of the cases of each cause, shape (n_causes,).
        self.summed: Floats = kept["summed"] if kept else _weights_of(index, rows)
        self._in_order: dict[tuple[int, str], tuple[Rows, Floats]] = {}
        self._kept = 0

    def witnesses(self, cause: int) -> Rows:
        """Return the rows of the cases of a cause that count, ascending."""
        rows = self._rows.of_cause(cause)
        return rows[self.index.weights_[rows] > 0]

    def as_arrays(self) -> Arrays:
        """Count all, and return it as arrays."""
        arrays: Arrays = {"summed": self.summed}
        for name in (*KINDS, _WEIGHTS):
            arrays |= named_for(name, self._table(name).arrays)
        # Where every case weighs 1, sums of weights are numbers of cases.
        if all(_same(arrays[f"{_WEIGHTS} {part}"], arrays[f"tokens {part}"]) for part in _PARTS):
            arrays = {name: row for name, row in arrays.items() if not name.startswith(_WEIGHTS)}
        return arrays

    def weights(self, token: str) -> Floats:
        """Return the summed weight of the cases with a token by cause, shape ``(n_causes,)``."""
        return self._table(_WEIGHTS).of(token)

    def having(self, kind: Kind, key: str, cause: int) -> int:
        """Return how many cases of a cause that count have a key."""
        return int(self._table(kind).of(key)[cause])

    def having_each(self, kind: Kind, cause: int) -> Codes:
        """Return how many cases of a cause that count have each key, shape ``(n_keys,)``."""
        return self._table(kind).column(cause).astype(np.int64)

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

    def _keys(self, name: str) -> Mapping[str, int]:
        if name == "fields":
            return self.index.fields_.keys
        return self.index.measures_.keys if name == "measures" else self.index.tokens_.keys

    def _postings(self, name: str) -> Postings:
        if name == "fields":
            return self.index.fields_.plain()
        return self.index.measures_ if name == "measures" else self.index.tokens_

    def _table(self, name: str) -> "_ByCause":
        if name not in self._tables:
            weights = np.asarray(self.index.weights_)
            each = weights if name == _WEIGHTS else (weights > 0).astype(np.int32)
            summed = _summed(self._postings(name), each, self._rows)
            self._tables[name] = _ByCause(summed, self._keys(name), self._rows)
        return self._tables[name]


def _weights_of(index: CaseIndex, rows: CauseRows) -> Floats:
    known = rows.fitted != NO_CAUSE
    summed = np.bincount(rows.fitted[known], index.weights_[known], len(rows.sizes))
    return np.asarray(summed, np.float64)


def _summed(postings: Postings, each: NDArray[Any], rows: CauseRows) -> Arrays:
    """Return the sum of ``each`` over the cases of each key, by cause.

    The product of the two tables adds up a key's cases in the order of their rows.
    """
    known = rows.fitted != NO_CAUSE
    pointers = np.concatenate([[0], np.cumsum(known)])
    shape = (len(known), len(rows.sizes))
    causes = rows.fitted[known].astype(np.int32)
    by_case = sparse.csr_array((each[known], causes, pointers), shape=shape)
    ones = np.ones(len(postings.rows), each.dtype)
    shape = (len(postings.keys), len(known))
    by_key = sparse.csr_array((ones, postings.rows, postings.pointers), shape=shape)
    made = by_key @ by_case
    return {
        "pointers": made.indptr,
        "causes": _narrow(made.indices),
        "sums": _narrow(made.data),
    }


def _same(one: NDArray[Any], other: NDArray[Any]) -> bool:
    return one.dtype == other.dtype and np.array_equal(one, other)


def _narrow(numbers: NDArray[Any]) -> NDArray[Any]:
    """Return numbers in the fewest bytes that hold them; as they are where one is a fraction."""
    whole = numbers.astype(np.int64)
    if not np.array_equal(whole, numbers):
        return numbers
    return whole.astype(np.min_scalar_type(int(whole.max(initial=0))))


class _ByCause:
    """One number a key and cause, most of them 0.

    In ``arrays``, key ``i`` has its ``sums`` under ``causes`` from ``pointers[i]`` to
    ``pointers[i + 1]``.
    """

    def __init__(
        self, arrays: Mapping[str, NDArray[Any]], keys: Mapping[str, int], rows: CauseRows
    ) -> None:
        self.arrays, self._keys, self._n_causes = arrays, keys, len(rows.sizes)
        self._pointers, self._causes, self._sums = (arrays[name] for name in _PARTS)

    def of(self, key: str) -> Floats:
        """Return the numbers of a key by cause, 0 for an unknown key."""
        found = np.zeros(self._n_causes)
        at = self._keys.get(key)
        if at is not None:
            span = slice(self._pointers[at], self._pointers[at + 1])
            found[self._causes[span]] = self._sums[span]
        return found

    def column(self, cause: int) -> Floats:
        """Return the number of every key for one cause."""
        found = np.zeros(len(self._pointers) - 1)
        at = np.flatnonzero(self._causes == cause)
        found[np.searchsorted(self._pointers, at, side="right") - 1] = self._sums[at]
        return found
