"""Memory of a process in pieces of two megabytes instead of four kilobytes, where Linux can.

Answers go all over some hundred megabytes of small objects, and the processor spends a part of its
time on finding out where each of them is. Two processes side by side, one of them so, 24 times the
same 300 pages: 2 to 10 % less time, by how much others use the machine. What is not to be had is
left as it is.
"""

import ctypes
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Final

# Bytes of a piece where processors have pages of 4 kB; others refuse, and nothing changes.
PIECE: Final = 2 << 20
# Linux 6.1 and later: gather a piece now (``madvise(2)``, ``asm-generic/mman-common.h``).
_COLLAPSE: Final = 25
_ALLOWED: Final = Path("/sys/kernel/mm/transparent_hugepage/enabled")
_MAPS: Final = Path("/proc/self/maps")
_LEFT_OUT: Final = ("[heap]", "[stack]")
# Seconds before the first look, when a process has its memory of cases; between two looks, since
# what is remembered grows; and between two pieces, so that nobody waits for more than one (our
# choices; one takes 3 ms).
FIRST_S: Final = 20.0
AGAIN_S: Final = 600.0
BETWEEN_S: Final = 0.02


def pieces(maps: str) -> Iterator[int]:
    """Return where the whole pieces of memory of a process' own begin.

    The heap is left out: unused pages in it are given back (``web.spare_memory``), and a piece that
    is gathered takes them again.

    Parameters
    ----------
    maps : str
        Lines as in ``/proc/self/maps``: from-to, rights, offset, device, inode and perhaps a name.

    Examples
    --------
    >>> [hex(at) for at in pieces("1ff000-601000 rw-p 00000000 00:00 0")]
    ['0x200000', '0x400000']
    >>> list(pieces("200000-400000 rw-p 00000000 08:01 17 /srv/shop/baybook.db"))
    []
    """
    for line in maps.splitlines():
        place, rights, *_, inode = line.split(maxsplit=5)[:5]
        if rights == "rw-p" and inode == "0" and not line.endswith(_LEFT_OUT):
            first, end = (int(at, 16) for at in place.split("-"))
            yield from range(-(-first // PIECE) * PIECE, end - PIECE + 1, PIECE)


def gather(pause_s: float = 0.0) -> int:
    """Ask for the memory of this process in whole pieces; return how many it has so."""
    if not _ALLOWED.exists() or "[never]" in _ALLOWED.read_text("ascii"):
        return 0
    advise = ctypes.CDLL(None).madvise
    advise.argtypes = [ctypes.c_void_p, ctypes.c_size_t, ctypes.c_int]
    gathered = 0
    for at in pieces(_MAPS.read_text("utf-8")):
        # A piece that is gone meanwhile, empty, or held elsewhere is refused.
        gathered += advise(at, PIECE, _COLLAPSE) == 0
        time.sleep(pause_s)
    return gathered


def keep_gathered() -> None:
    """Gather the memory of this process now and then, in a thread beside."""

    def go_on() -> None:
        time.sleep(FIRST_S)
        while gather(BETWEEN_S):
            time.sleep(AGAIN_S)

    threading.Thread(target=go_on, name="huge pages", daemon=True).start()
