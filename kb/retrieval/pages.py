"""Tells the machine which pages of mapped arrays are read next, where they are not in memory yet.

Left to itself it reads the neighbourhood of each page that is missing, some megabytes where a
question needs kilobytes, and one after the other. Of arrays whose pages are there nothing is told.
"""

import mmap as mmap_module
import os
from collections.abc import Sequence
from mmap import PAGESIZE, mmap
from pathlib import Path
from typing import Any, Final
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

Integers = NDArray[np.integer[Any]]
# Where each span starts, and where it ends.
Spans = NDArray[np.int64]

# Bytes from which a file is looked into, how many of its pages, and how many pages between two
# spans are read along with them (our choice; 0, 4 and 16 do alike).
_LARGE: Final = 1_000_000
_PROBES: Final = 8
_ALONG: Final = 4
# What it takes is there on Linux alone.
_CAN_TELL: Final = all(
    hasattr(*one) for one in ((os, "RWF_NOWAIT"), (os, "preadv"), (mmap, "madvise"))
)

# The files that were not in memory when they were opened, and which pages were told since.
_cold: "WeakKeyDictionary[mmap, NDArray[np.bool_]]" = WeakKeyDictionary()


def look_into(content: mmap, path: Path) -> None:
    """Find out whether a file just mapped is in memory; if not, it is told of what is read."""
    if not _CAN_TELL or len(content) < _LARGE:
        return
    with path.open("rb", buffering=0) as file:
        places = np.linspace(0, len(content) - 1, _PROBES).astype(np.int64).tolist()
        if not all(_is_there(file.fileno(), at) for at in places):
            _cold[content] = np.zeros(len(content) // PAGESIZE + 1, np.bool_)


def _is_there(file: int, at: int) -> bool:
    try:
        return os.preadv(file, [bytearray(1)], at, os.RWF_NOWAIT) == 1
    except BlockingIOError:
        return False
    except OSError:
        # The file system cannot say: nothing is told then.
        return True


def scattered(array: NDArray[Any]) -> None:
    """Tell that of an array here and there a row is read."""
    content = _owner(array)
    if content is not None:
        content.madvise(mmap_module.MADV_RANDOM)


def any_is_cold() -> bool:
    """Return whether any file that is open was not in memory when it was opened."""
    return bool(_cold)


def fetch_lists(arrays: Sequence[NDArray[Any]], pointers: Integers, lists: Integers) -> None:
    """Tell that of each array some lists are read next.

    List ``i`` lies from ``pointers[i]`` to ``pointers[i + 1]``.
    """
    if not _cold or not len(lists):
        return
    spans = np.stack([pointers[lists], pointers[lists + 1]]).astype(np.int64)
    for array in arrays:
        _tell(array, spans)


def fetch(*arrays: NDArray[Any]) -> None:
    """Tell that whole arrays, or parts of them, are read next."""
    for array in arrays:
        if len(array):
            _tell(array, np.array([[0], [len(array)]]))


def _tell(array: NDArray[Any], spans: Spans) -> None:
    content = _owner(array)
    if content is None:
        return
    told = _cold[content]
    content.madvise(mmap_module.MADV_RANDOM)
    begin = array.ctypes.data - np.frombuffer(content, np.uint8).ctypes.data
    for page, after in _pages(begin + array.itemsize * spans).T.tolist():
        if not told[page:after].all():
            told[page:after] = True
            start = page * PAGESIZE
            size = min(after * PAGESIZE, len(content)) - start
            content.madvise(mmap_module.MADV_WILLNEED, start, size)


def _pages(places: Spans) -> Spans:
    """Return the first page and the one after the last of all spans of bytes, near ones as one."""
    places = places[:, np.argsort(places[0], kind="stable")]
    first, last = places[0] // PAGESIZE, np.maximum.accumulate(-(places[1] // -PAGESIZE))
    new = np.flatnonzero(np.concatenate([[True], first[1:] > last[:-1] + _ALONG]))
    return np.stack([first[new], np.concatenate([last[new[1:] - 1], last[-1:]])])


def _owner(array: NDArray[Any]) -> mmap | None:
    """Return the file of an array if it was not in memory when it was opened."""
    if not _cold:
        return None
    owner: Any = array
    while isinstance(owner, np.ndarray):
        owner = owner.base
    return owner if isinstance(owner, mmap) and owner in _cold else None
