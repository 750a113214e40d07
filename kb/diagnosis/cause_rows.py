"""Which case is of which cause: as it was fitted, and as it is with what was written since."""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from typing_extensions import override

from kb.retrieval.columns import Column, Named
from kb.retrieval.index import CaseIndex
from kb.retrieval.kept_arrays import Arrays
from kb.retrieval.layers import LayeredIndex
from kb.retrieval.postings import Rows

Codes = NDArray[np.signedinteger[Any]]
Cases = tuple[Sequence[str], ...]

NO_CAUSE: Final = -1


class CaseIds(Column[str]):
    """The ids of the cases in some rows of an index, each made when it is asked for."""

    def __init__(self, ids: Sequence[str], rows: Rows) -> None:
        self._ids, self._rows = ids, rows

    @override
    def __len__(self) -> int:
        return len(self._rows)

    @override
    def _at(self, row: int) -> str:
        return self._ids[int(self._rows[row])]


@dataclass(frozen=True, slots=True)
class CauseRows:
    """The cases by cause.

    ``cause_of`` holds the number of the cause of each row of the index, -1 for none, ``cases`` the
    ids of the cases of each cause, in order; ``fitted`` and ``fitted_cases`` the same of the rows
    that were fitted. These are in ``rows`` by cause, those of cause ``i`` from ``ends[i]`` to
    ``ends[i + 1]``.
    """

    numbers: Mapping[str, int]
    rows: Rows
    ends: Rows
    fitted: Codes
    fitted_cases: Cases
    cause_of: Codes
    cases: Cases

    @classmethod
    def of(cls, index: CaseIndex, numbers: Mapping[str, int]) -> "CauseRows":
        """Return the cases of an index; ``numbers`` are those of all causes."""
        cause_of = _cause_of(index, numbers)
        known = np.flatnonzero(cause_of != NO_CAUSE)
        sizes = np.bincount(cause_of[known], minlength=len(numbers))
        kind = np.min_scalar_type(-max(1, len(numbers)))
        arrays: Arrays = {
            "of": cause_of.astype(kind),
            "rows": known[np.argsort(cause_of[known], kind="stable")].astype(np.int32),
            "ends": np.concatenate([[0], np.cumsum(sizes)]),
        }
        return cls.restored(index, numbers, arrays)

    @classmethod
    def restored(
        cls, index: CaseIndex, numbers: Mapping[str, int], arrays: Mapping[str, NDArray[Any]]
    ) -> "CauseRows":
        """Return them again out of what ``as_arrays`` gave."""
        cause_of, rows, ends = arrays["of"], arrays["rows"], arrays["ends"]
        spans = pairwise(ends.tolist())
        cases = tuple(CaseIds(index.ids_, rows[first:last]) for first, last in spans)
        return cls(numbers, rows, ends, cause_of, cases, cause_of, cases)

    def as_arrays(self) -> Arrays:
        """Return what ``restored`` wants besides the index and the causes."""
        return {"of": self.fitted, "rows": self.rows, "ends": self.ends}

    @property
    def sizes(self) -> Rows:
        """How many of the fitted cases each cause has, shape ``(n_causes,)``."""
        return np.diff(self.ends)

    def of_cause(self, cause: int) -> Rows:
        """Return the rows of the fitted cases of a cause, ascending."""
        return self.rows[self.ends[cause] : self.ends[cause + 1]]

    def following(self, index: LayeredIndex) -> "CauseRows":
        """Return them with the cases of an index over the fitted one.

        Cases of causes that were not known when it was fitted are of none.
        """

        def numbers_of(layer: CaseIndex) -> Codes:
            if layer is index.base:
                return self.fitted
            return _cause_of(layer, self.numbers).astype(self.fitted.dtype)

        base = index.base
        away = _by_cause((base.causes_[row], base.ids_[row]) for row in index.gone[0])
        new = _by_cause((index.causes_[row], index.ids_[row]) for row in index.later_rows())
        cases = list(self.fitted_cases)
        for cause in (away.keys() | new.keys()) & self.numbers.keys():
            at = self.numbers[cause]
            stay = (case for case in cases[at] if case not in away[cause])
            cases[at] = tuple(sorted((*stay, *new[cause])))
        cause_of = index.joined(numbers_of, away=NO_CAUSE)
        return replace(self, cause_of=cause_of, cases=tuple(cases))


def _by_cause(pairs: Iterable[tuple[str | None, str]]) -> defaultdict[str, set[str]]:
    found: defaultdict[str, set[str]] = defaultdict(set)
    for cause, case in pairs:
        if cause is not None:
            found[cause].add(case)
    return found


def _cause_of(index: CaseIndex, numbers: Mapping[str, int]) -> Codes:
    if isinstance(index.causes_, Named):
        # The last one stands for no cause.
        own = [*(numbers.get(name, NO_CAUSE) for name in index.causes_.names), NO_CAUSE]
        return np.asarray(np.array(own)[index.causes_.codes], np.int64)
    found = (numbers.get(cause or "", NO_CAUSE) for cause in index.causes_)
    return np.fromiter(found, np.int64, len(index))
