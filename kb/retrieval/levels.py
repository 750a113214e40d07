"""Numbers of which many are alike, in few bytes: each different one once, and which one each is."""

from dataclasses import dataclass
from typing import Any, Final, Literal, Protocol

import numpy as np
from numpy.typing import DTypeLike, NDArray

Floats = NDArray[np.float64]
Codes = NDArray[np.unsignedinteger[Any]]
Side = Literal["left", "right"]

_SIGN: Final = np.uint64(1 << 63)


class Sorted(Protocol):
    """Numbers in order: an array, or what is looked into as one."""

    def __len__(self) -> int:
        """Return how many there are."""

    def __getitem__(self, at: Any) -> Any:
        """Return the numbers at some places."""

    def searchsorted(self, wanted: Any, side: Any = "left") -> Any:
        """Return where a number, or each of several, would stand."""


@dataclass(frozen=True, slots=True)
class Levels:
    """Numbers in order of which many are alike.

    ``levels[i]`` stands from place ``starts[i]`` to ``starts[i + 1]``.
    """

    levels: Floats
    starts: Codes

    def __len__(self) -> int:
        """Return how many numbers there are, those that are alike counted each."""
        return int(self.starts[-1])

    def __getitem__(self, at: Any) -> Any:
        """Return the numbers at some places."""
        return self.levels[self.starts.searchsorted(np.asarray(at), side="right") - 1]

    def searchsorted(self, wanted: Any, side: Side = "left") -> Any:
        """Return where a number, or each of several, would stand."""
        return self.starts[self.levels.searchsorted(wanted, side=side)].astype(np.int64)

    def __array__(self, dtype: DTypeLike | None = None, copy: Any = None) -> NDArray[Any]:
        """Return all of them."""
        return np.repeat(self.levels, np.diff(self.starts)).astype(dtype or np.float64)


@dataclass(frozen=True, slots=True)
class Coded:
    """Numbers in any order: number ``i`` is ``levels[codes[i]]``."""

    levels: Floats
    codes: Codes

    @classmethod
    def of(cls, values: Floats) -> "Coded":
        """Return numbers as such, to the last bit; levels are in order.

        Examples
        --------
        >>> Coded.of(np.array([12.6, -1.0, 12.6])).codes.tolist()
        [1, 0, 1]
        """
        # In the order of the numbers, with both zeros told apart.
        bits = np.ascontiguousarray(values, np.float64).view(np.uint64)
        keys = np.where(bits & _SIGN, ~bits, bits | _SIGN)
        order = np.argsort(keys)
        ordered = keys[order]
        first = np.concatenate([np.ones(min(1, len(keys)), np.bool_), ordered[1:] != ordered[:-1]])
        codes = np.empty(len(keys), code_type(int(first.sum())))
        codes[order] = np.cumsum(first) - 1
        return cls(np.asarray(values, np.float64)[order[first]], codes)

    def __len__(self) -> int:
        """Return how many numbers there are."""
        return len(self.codes)

    def __getitem__(self, at: Any) -> Any:
        """Return the numbers at some places."""
        return self.levels[self.codes[at]]

    def __array__(self, dtype: DTypeLike | None = None, copy: Any = None) -> NDArray[Any]:
        """Return all of them."""
        return self.levels[self.codes].astype(dtype or np.float64)

    def ordered(self) -> Sorted:
        """Return the same numbers in order."""
        if len(self.levels) == len(self.codes):
            return self.levels
        sizes = np.bincount(self.codes, minlength=len(self.levels))
        return Levels(self.levels, np.concatenate([[0], np.cumsum(sizes)]).astype(np.uint32))


def code_type(size: int) -> np.dtype[Any]:
    """Return the smallest type that numbers so many from 0 on."""
    return np.min_scalar_type(max(0, size - 1))
