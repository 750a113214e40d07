"""Pictures laid out: numbers in, placed shapes out. What is worth a picture is decided in ``kb``.

All places are in the units of the picture's own width and height; the templates draw them with
presentation attributes only, in the colour of the text, so that they are right in dark, in print
and without colour. A number that is missing has no shape: nothing is ever drawn at 0 for it.
"""

from dataclasses import dataclass
from typing import Final

from web.scales import Tick, scale_over

# Width of the pictures (our choice: they fit a phone held upright).
WIDTH: Final = 360.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Slope:
    """From before to after on one upright axis."""

    width: float
    height: float
    x: tuple[float, float]
    before: float
    after: float
    ticks: tuple[Tick, ...]
    axis_x: float
    axis: tuple[float, float]
    band: tuple[float, float] | None


def slope(before: float, after: float, *, band: tuple[float, float] | None = None) -> Slope:
    """Return a line from one number to another, higher numbers higher up."""
    height, axis_x = 150.0, 52.0
    scale, ticks = scale_over([before, after, *(band or ())], height - 26, 12.0)
    return Slope(
        width=340.0,
        height=height,
        x=(130.0, 220.0),
        before=scale.at(before),
        after=scale.at(after),
        ticks=ticks,
        axis_x=axis_x,
        axis=(scale.start, scale.end),
        band=(scale.at(band[1]), scale.at(band[0])) if band else None,
    )
