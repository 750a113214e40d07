"""What stands around every picture, as text of a page: its name, its description, its numbers.

A case shows some seven pictures, and a template takes three times as long for this.
"""

from collections.abc import Iterable, Sequence
from typing import Final, Protocol

from web.drawing import escaped

_HEADS: Final = ("What", "Value")


class Sized(Protocol):
    """What was laid out, with the size of its picture in its own units."""

    @property
    def width(self) -> float:
        """How wide the picture is."""

    @property
    def height(self) -> float:
        """How high it is."""


def picture_head(anchor: str, chart: Sized, *, name: str, told: str) -> str:
    """Return how the picture of a figure begins, ``anchor`` being its own on the page."""
    size = (chart.width, chart.height)
    return svg_head(escaped(anchor), size, name=escaped(name), told=escaped(told))


def svg_head(anchor: str, size: tuple[float, float], *, name: str, told: str) -> str:
    """Return the same of texts that are escaped."""
    return (
        f'<svg role="img" aria-labelledby="{anchor}-title {anchor}-desc" viewBox="0 0 {size[0]} '
        f'{size[1]}" font-size="13" fill="currentColor" xmlns="http://www.w3.org/2000/svg"><title '
        f'id="{anchor}-title">{name}</title><desc id="{anchor}-desc">{told}</desc>'
    )


def picture_numbers(name: str, rows: Iterable[Sequence[str]], heads: Sequence[str] = _HEADS) -> str:
    """Return the table beside a picture, the first cell of each row its heading."""
    written = [[escaped(cell) for cell in row] for row in rows]
    return numbers_table(escaped(name), written, [escaped(head) for head in heads])


def numbers_table(name: str, rows: Iterable[Sequence[str]], heads: Sequence[str] = _HEADS) -> str:
    """Return the same of texts that are escaped."""
    above = "".join([f'<th scope="col">{head}</th>' for head in heads])
    below = "".join(
        [
            f'<tr><th scope="row">{head}</th><td>{"</td><td>".join(cells)}</td></tr>'
            for head, *cells in rows
        ]
    )
    return (
        f'\n<details class="numbers"><summary>Numbers: {name}</summary>\n<table><thead><tr>{above}'
        f"</tr></thead>\n<tbody>{below}</tbody></table></details>\n"
    )
