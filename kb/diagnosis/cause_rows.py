"""Which case is of which cause: as it was fitted, and as it is with what was written since."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kb.diagnosis.cause_counts import NO_CAUSE
from kb.retrieval.columns import Named
from kb.retrieval.index import CaseIndex
from kb.retrieval.layers import LayeredIndex

Codes = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class CauseRows:
    """The cases by cause.

    ``cause_of`` holds the number of the cause of each row of the index, -1 for none, ``cases`` the
    ids of the cases of each cause, in order; ``fitted`` and ``fitted_cases`` the same of the rows
    that were fitted.
    """

    numbers: Mapping[str, int]
    fitted: Codes
    fitted_cases: tuple[tuple[str, ...], ...]
    cause_of: Codes
    cases: tuple[tuple[str, ...], ...]

    @classmethod
    def of(cls, index: CaseIndex, numbers: Mapping[str, int]) -> "CauseRows":
        """Return the cases of an index; ``numbers`` are those of all causes."""
        cause_of = _cause_of(index, numbers)
        cases: list[list[str]] = [[] for _ in numbers]
        for case, at in zip(index.ids_, cause_of.tolist(), strict=True):
            if at != NO_CAUSE:
                cases[at].append(case)
        by_cause = tuple(map(tuple, cases))
        return cls(numbers, cause_of, by_cause, cause_of, by_cause)

    def following(self, index: LayeredIndex) -> "CauseRows":
        """Return them with the cases of an index over the fitted one.

        Cases of causes that were not known when it was fitted are of none.
        """

        def numbers_of(layer: CaseIndex) -> Codes:
            return self.fitted if layer is index.base else _cause_of(layer, self.numbers)

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
