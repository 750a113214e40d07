"""Plain text for the terminal: tables, and no typed sign that could steer it."""

import re
from collections.abc import Sequence
from textwrap import fill
from typing import Final

import click

# Columns of a terminal that the answers fit (our choice).
WIDTH: Final = 100


# Signs that move the cursor, colour, erase or turn round what stands beside them: control signs (C0
# without the end of a line, DEL, C1), those of writing direction, ends of lines that are none here,
# and halves of signs, which no terminal can be sent.
_STEERING: Final = re.compile(
    "[\x00-\x09\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]"
)


def visible(text: str) -> str:
    r"""Return a text whose signs that could steer a terminal are spelled out.

    Examples
    --------
    >>> visible("fan\x1b[2J dead")
    'fan\\x1b[2J dead'
    """
    return _STEERING.sub(lambda found: found[0].encode("unicode_escape").decode("ascii"), text)


def visible_json(text: str) -> str:
    """Return JSON that says the same, its signs that could steer a terminal as escapes."""
    return _STEERING.sub(lambda found: f"\\u{ord(found[0]):04x}", text)


def say(text: str = "", *, err: bool = False) -> None:
    """Print a text, which somebody else may have typed; everything that is printed goes by here."""
    click.echo(visible(text), err=err)


def table(rows: Sequence[Sequence[str]], *, widths: Sequence[int]) -> list[str]:
    """Return rows as lines; a cell longer than its width runs on below itself."""
    lines = []
    for row in rows:
        cells = [_cell(text, width) for text, width in zip(row, widths, strict=True)]
        for at in range(max(map(len, cells))):
            parts = [
                (cell[at] if at < len(cell) else "").ljust(width)
                for cell, width in zip(cells, widths, strict=True)
            ]
            lines.append("  ".join(parts).rstrip())
    return lines


def _cell(text: str, width: int) -> list[str]:
    return [line for part in text.split("\n") for line in fill(part, width).split("\n")]
