"""Memory that a process holds and no longer uses, given back to the machine now and then.

Pages and lists come and go between what is remembered, and leave holes that fit nothing later: in
half an hour of questions some ten megabytes a process, though what is remembered had long been
as much as ever.
"""

import ctypes
import sys
import threading
import time
from typing import Any, Final

# Name of a setting of glibc (``mallopt(3)``): how many heaps the threads of a process may have.
_MOST_HEAPS: Final = -8
# Seconds between two looks; one takes some milliseconds (our choice).
EVERY_S: Final = 60.0


def _library() -> Any:
    """Return the library that gives memory out, None where it takes none back by the page."""
    library = ctypes.CDLL(None) if sys.platform == "linux" else None
    return library if hasattr(library, "malloc_trim") else None


def use_one_heap() -> None:
    """Let all threads to come share one heap: each with its own would have holes of its own."""
    if (library := _library()) is not None:
        library.mallopt(_MOST_HEAPS, 1)


def give_back() -> bool:
    """Give back whole pages that lie unused (``malloc_trim(3)``); False where it cannot."""
    library = _library()
    return library is not None and bool(library.malloc_trim(ctypes.c_size_t(0)))


def keep_giving_back() -> None:
    """Give back again and again, in a thread beside."""

    def go_on() -> None:
        while True:
            time.sleep(EVERY_S)
            give_back()

    threading.Thread(target=go_on, name="spare memory", daemon=True).start()
