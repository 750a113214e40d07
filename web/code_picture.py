"""Codes that open a job: as segno makes them, or put together from parts that were made once."""

import math
import re
from collections.abc import Iterator
from functools import cache, lru_cache
from html import escape
from typing import Final

import segno

# A quarter of the code may be dirty or torn and it still reads (our choice for a bay).
_LEVEL: Final = "q"
# The standard has eight patterns to lay over a code and a score that finds the best. Codes that are
# put together lie under the same, and every reader takes any; a label that is stuck on gets the best.
_PATTERN: Final = 3
# Light cells around a code (ISO/IEC 18004).
_BORDER: Final = 4
# Light cells and the dark ones behind them.
_RUN: Final = re.compile(rb"(\x00*)(\x01+)")
# A kept part is a kilobyte: those of the signs of an id, for a few names of this machine.
_PARTS: Final = 1024
# Whole pictures, three kilobytes each: those of the jobs in work.
_PICTURES: Final = 128


def best_code(address: str, title: str) -> str:
    """Return the inline picture of a code in the pattern that reads most easily."""
    return _inline(segno.make(address, error=_LEVEL, micro=False), title)


@lru_cache(maxsize=_PICTURES)
def quick_code(address: str, title: str) -> str:
    """Return the inline picture of a code in a fixed pattern.

    Made to ISO/IEC 18004 by segno. What a code adds to detect errors is a linear code, and a
    pattern is laid over it cell by cell: so the cells of two texts of one length differ where those
    of their parts differ, and the cells of an address are put together from those of each sign
    after the last slash.
    """
    before, slash, last = address.rpartition("/")
    plain = f"{before}{slash}{'0' * len(last)}"
    start = len(plain) - len(last)
    cells = none = _cells(plain)
    for at, sign in enumerate(last, start):
        if sign != "0":
            cells ^= none ^ _cells(f"{plain[:at]}{sign}{plain[at + 1 :]}")
    head, middle, end = _frame(plain)
    return f"{head}{escape(title, quote=False)}{middle}{_path(cells)}{end}"


@lru_cache(maxsize=_PARTS)
def _cells(address: str) -> int:
    """Return the cells of a code row by row as one number, a byte each."""
    code = segno.make(address, error=_LEVEL, micro=False, mask=_PATTERN)
    return int.from_bytes(b"".join(code.matrix))


@lru_cache(maxsize=_PARTS)
def _frame(address: str) -> tuple[str, str, str]:
    """Return what stands in a picture before its title, between title and path, and after both."""
    code = segno.make(address, error=_LEVEL, micro=False, mask=_PATTERN)
    head, mark, rest = _inline(code, "title").partition("<title>")
    middle, path_mark, path = rest.removeprefix("title").rpartition(' d="')
    return head + mark, middle + path_mark, path[path.index('"') :]


def _path(cells: int) -> str:
    """Return the dark cells as strokes, each from the end of the one before."""
    # The first cell of a code is dark, so no row is lost before the first byte that counts.
    size = math.isqrt((cells.bit_length() + 7) // 8)
    return "M" + "m".join(_strokes(cells.to_bytes(size * size), size))


def _strokes(cells: bytes, size: int) -> Iterator[str]:
    x, y, half = -_BORDER, -_BORDER, ".5"
    for row in range(size):
        line = cells[row * size : (row + 1) * size].rstrip(b"\0")
        if line:
            (light, dark), *others = _RUN.findall(line)
            yield f"{len(light) - x} {row - y}{half}h{len(dark)}"
            yield from map(_stroke, others)
            x, y, half = len(line), row, ""


@cache
def _stroke(run: tuple[bytes, bytes]) -> str:
    """Return a stroke in the row of the one before; there are few."""
    light, dark = map(len, run)
    return f"{light} 0h{dark}"


def _inline(code: segno.QRCode, title: str) -> str:
    """Return a code black on white in both themes, so that every phone reads it."""
    picture = code.svg_inline(
        scale=4,
        dark="#000000",
        light="#ffffff",
        svgclass="qr",
        lineclass=None,
        omitsize=True,
        title=title,
    )
    return str(picture)
