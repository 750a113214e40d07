"""The values of all quantities as arrays: each different one once, and by case which one it is."""

from collections.abc import Iterator, Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import DTypeLike, NDArray

from kb.retrieval.kept_arrays import Arrays
from kb.retrieval.levels import Coded, Floats, Levels, Sorted, code_type
from kb.retrieval.postings import Postings

# Bytes at multiples of which codes begin, so that each may be read in one piece.
_ALIGNED: Final = 4


def pack_codes(codes: list[NDArray[Any]]) -> tuple[NDArray[np.uint8], NDArray[np.int64]]:
    """Return numbers of several widths as one run of bytes, and where each begins."""
    padded = [row.tobytes() + bytes(-row.nbytes % _ALIGNED) for row in codes]
    starts = np.cumsum([0, *map(len, padded)])
    return np.frombuffer(b"".join(padded), np.uint8), starts


def codes_at(packed: NDArray[np.uint8], start: int, *, size: int, top: int) -> NDArray[Any]:
    """Return ``size`` numbers, each below ``top``, that ``pack_codes`` put there."""
    kind = code_type(top)
    return packed[start : start + size * kind.itemsize].view(kind)


def value_arrays(measures: Postings, values: Floats) -> Arrays:
    """Return the values of all quantities as arrays; ``values`` are in the order of the rows."""
    spans = zip(measures.pointers[:-1].tolist(), measures.pointers[1:].tolist(), strict=True)
    found = [Coded.of(values[first:last]) for first, last in spans]
    starts = [_starts(row.ordered()) for row in found]
    codes, begin = pack_codes([row.codes for row in found])
    return {
        "levels": np.concatenate([np.zeros(0), *(row.levels for row in found)]),
        "level ends": np.cumsum([0, *(len(row.levels) for row in found)]),
        "starts": np.concatenate([np.zeros(0, np.uint32), *starts]),
        "start ends": np.cumsum([0, *map(len, starts)]),
        "codes": codes,
        "code ends": begin,
    }


def _starts(ordered: Sorted) -> NDArray[Any]:
    return ordered.starts if isinstance(ordered, Levels) else np.zeros(0, np.uint32)


class KeptValues:
    """The values of all quantities, in the order of their rows.

    Parameters
    ----------
    arrays : mapping
        As ``value_arrays`` gave them.
    measures : Postings
        The cases by quantity.
    """

    def __init__(self, arrays: Mapping[str, NDArray[Any]], measures: Postings) -> None:
        self._arrays, self._pointers = arrays, measures.pointers

    def __len__(self) -> int:
        """Return how many values there are."""
        return int(self._pointers[-1])

    def of(self, at: int) -> Coded:
        """Return the values of the quantity with that number."""
        levels, size = self._levels(at), int(self._pointers[at + 1] - self._pointers[at])
        start = int(self._arrays["code ends"][at])
        return Coded(levels, codes_at(self._arrays["codes"], start, size=size, top=len(levels)))

    def population(self, at: int) -> Sorted:
        """Return the same values in order."""
        first, last = self._arrays["start ends"][at : at + 2]
        levels = self._levels(at)
        return Levels(levels, self._arrays["starts"][first:last]) if last > first else levels

    def _levels(self, at: int) -> Floats:
        first, last = self._arrays["level ends"][at : at + 2]
        return self._arrays["levels"][first:last]

    def __getitem__(self, span: slice) -> Any:
        """Return the values of the quantity with that span of rows, none for an empty span."""
        if span.start == span.stop:
            return np.zeros(0)
        return self.of(int(self._pointers.searchsorted(span.start, side="right")) - 1)

    def __array__(self, dtype: DTypeLike | None = None, copy: Any = None) -> NDArray[Any]:
        """Return all of them."""
        return np.concatenate([np.zeros(0), *self._each()]).astype(dtype or np.float64)

    def _each(self) -> Iterator[NDArray[Any]]:
        for at in range(len(self._pointers) - 1):
            yield np.asarray(self.of(at))
