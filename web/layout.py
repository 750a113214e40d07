"""Tables of plain text for the terminal."""

from collections.abc import Sequence
from textwrap import fill
from typing import Final

# Columns of a terminal that the answers fit (our choice).
WIDTH: Final = 100


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
