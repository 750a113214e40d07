"""Columns of words as arrays: one run of letters for all rows, and each word made when asked for."""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import pairwise
from typing import Any, Final, Generic, TypeVar

import numpy as np
from numpy.typing import NDArray
from typing_extensions import override

Value = TypeVar("Value", str, str | None)
# Whatever a word holds comes back, and the order of letters is that of the bytes.
_CODE, _ERRORS = "utf-8", "surrogatepass"
# Names whose numbers each table remembers, some .2 kB each: jobs use the same ones again and again,
# and without it a search of 10,000 cases took a fifth longer (our choice).
_MOST_REMEMBERED: Final = 2048


class Column(Sequence[Value], Generic[Value]):
    """A sequence that equals any other with the same values."""

    def _at(self, row: int) -> Value:
        raise NotImplementedError

    @override
    def __getitem__(self, row: Any) -> Any:
        if isinstance(row, slice):
            return tuple(self._at(at) for at in range(*row.indices(len(self))))
        at = row + len(self) if row < 0 else row
        if not 0 <= at < len(self):
            raise IndexError(f"expected a row from 0 to {len(self) - 1}, got {row}")
        return self._at(at)

    @override
    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Sequence) or isinstance(other, str):
            return NotImplemented
        return len(self) == len(other) and all(a == b for a, b in zip(self, other, strict=True))

    @override
    def __hash__(self) -> int:
        return hash(tuple(self))


class Texts(Column[str]):
    """Words in rows.

    Parameters
    ----------
    letters : array of uint8
        All words in UTF-8, one after the other.
    ends : array of uint32 or uint64, shape (n_rows + 1,)
        Row ``i`` goes from ``ends[i]`` to ``ends[i + 1]``.
    """

    def __init__(self, letters: NDArray[np.uint8], ends: NDArray[np.integer[Any]]) -> None:
        self.letters, self.ends = letters, ends
        self._letters, self._ends = memoryview(letters), memoryview(ends)  # type: ignore[arg-type]

    @classmethod
    def of(cls, texts: Iterable[str]) -> "Texts":
        """Return words as such a column."""
        rows = [text.encode(_CODE, _ERRORS) for text in texts]
        ends = np.zeros(len(rows) + 1, np.int64)
        np.cumsum(np.fromiter(map(len, rows), np.int64, len(rows)), out=ends[1:])
        # In half the bytes where that holds them.
        kind = np.promote_types(np.uint32, np.min_scalar_type(int(ends[-1])))
        return cls(np.frombuffer(b"".join(rows), np.uint8), ends.astype(kind))

    @override
    def __len__(self) -> int:
        return len(self.ends) - 1

    def bytes_at(self, row: int) -> bytes:
        """Return the letters of a row from 0 on."""
        return self._letters[self._ends[row] : self._ends[row + 1]].tobytes()

    @override
    def _at(self, row: int) -> str:
        return self.bytes_at(row).decode(_CODE, _ERRORS)

    @override
    def __iter__(self) -> Iterator[str]:
        letters = self.letters.tobytes()
        return (letters[a:b].decode(_CODE, _ERRORS) for a, b in pairwise(self.ends.tolist()))


class Named(Column[str | None]):
    """Rows that have one of a few names each; ``codes`` are the numbers of the names, -1 for none.

    Names are in order.
    """

    def __init__(self, names: Sequence[str], codes: NDArray[np.signedinteger[Any]]) -> None:
        self.names, self.codes = names, codes

    @classmethod
    def of(cls, values: Sequence[str | None]) -> "Named":
        """Return values as such a column."""
        names = sorted({value for value in values if value is not None})
        number: dict[str | None, int] = {name: at for at, name in enumerate(names)}
        number[None] = -1
        kind = np.min_scalar_type(-max(1, len(names)))
        return cls(names, np.fromiter(map(number.__getitem__, values), kind, len(values)))

    @override
    def __len__(self) -> int:
        return len(self.codes)

    @override
    def _at(self, row: int) -> str | None:
        code = int(self.codes[row])
        return None if code < 0 else self.names[code]

    @override
    def __iter__(self) -> Iterator[str | None]:
        names = (*self.names, None)
        return (names[code] for code in self.codes.tolist())


class Names(Mapping[str, int]):
    """Names in order with their numbers from 0 on, found by halving what is left of them."""

    def __init__(self, names: Texts) -> None:
        self.names = names
        self._number = lru_cache(maxsize=_MOST_REMEMBERED)(self._found)

    def _found(self, name: str) -> int | None:
        wanted = name.encode(_CODE, _ERRORS)
        at = bisect_left(range(len(self.names)), wanted, key=self.names.bytes_at)
        return at if at < len(self.names) and self.names.bytes_at(at) == wanted else None

    @override
    def __getitem__(self, name: str) -> int:
        at = self._number(name)
        if at is None:
            raise KeyError(name)
        return at

    @override
    def get(self, name: str, default: Any = None) -> Any:
        """Return the number of a name; no error is raised and caught for one that is not there."""
        at = self._number(name)
        return default if at is None else at

    @override
    def __contains__(self, name: object) -> bool:
        return isinstance(name, str) and self._number(name) is not None

    @override
    def __len__(self) -> int:
        return len(self.names)

    @override
    def __iter__(self) -> Iterator[str]:
        return iter(self.names)
