"""Plain arrays in one file that is mapped: read as they are needed, by several processes at once.

A head of JSON text names the arrays; their bytes follow. The whole file is held against a digest
when it is opened: a foreign, old, torn or flipped one is ignored. Nothing in it is ever executed.
"""

import hashlib
import hmac
import json
import mmap
import os
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from typing_extensions import override

_DIGEST_BYTES: Final = 32
# Bytes of the number that says how long the head is; arrays begin at multiples of so many bytes.
_LENGTH_BYTES: Final = 8
_ALIGNED: Final = 64


class MappedFile(Mapping[str, NDArray[Any]]):
    """The arrays of a file; none may be written to.

    It can be read on even where another process takes the file away.
    """

    def __init__(self, pages: mmap.mmap) -> None:
        self._pages = pages
        first = _DIGEST_BYTES + _LENGTH_BYTES
        length = int.from_bytes(pages[_DIGEST_BYTES:first], "little")
        self._head: dict[str, tuple[str, list[int], int]] = json.loads(
            pages[first : first + length]
        )

    @classmethod
    def opened(cls, path: Path, *, key: str) -> "MappedFile | None":
        """Return the arrays of a file, None where there is none that was written with ``key``."""
        try:
            with path.open("rb") as file:
                pages = mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ)
        except (OSError, ValueError):
            return None
        digest = _digest(key)
        with memoryview(pages) as seen:
            digest.update(seen[_DIGEST_BYTES:])
        if not hmac.compare_digest(pages[:_DIGEST_BYTES], digest.digest()):
            return None
        return cls(pages)

    @override
    def __getitem__(self, name: str) -> NDArray[Any]:
        """Return one array, mapped."""
        dtype, shape, start = self._head[name]
        size = int(np.prod(shape, dtype=np.int64))
        return np.frombuffer(self._pages, np.dtype(dtype), size, start).reshape(shape)

    @override
    def __iter__(self) -> Iterator[str]:
        """Yield the names of the arrays."""
        return iter(self._head)

    @override
    def __len__(self) -> int:
        """Return how many arrays there are."""
        return len(self._head)

    def let_go(self) -> None:
        """Give back the memory that was read; what is needed again is read again."""
        if hasattr(mmap, "MADV_DONTNEED"):
            self._pages.madvise(mmap.MADV_DONTNEED)


def write_mapped(path: Path, arrays: Mapping[str, NDArray[Any]], *, key: str) -> None:
    """Write arrays aside and put the file in place at once; ``key`` names what they are of."""
    head, starts = _laid_out(arrays)
    aside = path.with_name(f"{path.name}.{os.getpid()}")
    digest = _digest(key)
    try:
        with aside.open("wb") as file:
            file.write(bytes(_DIGEST_BYTES))
            for part in _parts(head, arrays, starts):
                digest.update(part)
                file.write(part)
            file.seek(0)
            file.write(digest.digest())
    except OSError:
        # Half a file would take the room that is missing.
        aside.unlink(missing_ok=True)
        raise
    aside.replace(path)


def _laid_out(arrays: Mapping[str, NDArray[Any]]) -> tuple[bytes, list[int]]:
    """Return the head, and where each array starts."""
    # Starts depend on the length of the head, which depends on the starts: leave room for it.
    room = sum(100 + 6 * len(name) for name in arrays)
    at = _up(_DIGEST_BYTES + _LENGTH_BYTES + room)
    head, starts = {}, []
    for name, array in arrays.items():
        head[name] = (array.dtype.str, list(array.shape), at)
        starts.append(at)
        at = _up(at + array.nbytes)
    return json.dumps(head).encode().ljust(room), starts


def _parts(
    head: bytes, arrays: Mapping[str, NDArray[Any]], starts: list[int]
) -> Iterator[bytes | memoryview]:
    """Yield all bytes after the digest."""
    yield len(head).to_bytes(_LENGTH_BYTES, "little") + head
    at = _DIGEST_BYTES + _LENGTH_BYTES + len(head)
    for array, start in zip(arrays.values(), starts, strict=True):
        yield bytes(start - at)
        plain = np.ascontiguousarray(array)
        yield plain.view(np.uint8).reshape(-1).data if plain.size else b""
        at = start + array.nbytes


def _up(at: int) -> int:
    """Return the next place at which an array may begin."""
    return -(-at // _ALIGNED) * _ALIGNED


def _digest(key: str) -> Any:
    secret = hashlib.blake2b(key.encode()).digest()
    return hashlib.blake2b(digest_size=_DIGEST_BYTES, key=secret)
