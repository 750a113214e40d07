"""Pictures laid out: numbers in, placed shapes out. What is worth a picture is decided in ``kb``.

All places are in the units of the picture's own width and height; the templates draw them with
presentation attributes only, in the colour of the text, so that they are right in dark, in print
and without colour. A number that is missing has no shape: nothing is ever drawn at 0 for it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from textwrap import wrap
from typing import Final

from web.scales import Scale, Tick, scale_over

# Size of the pictures and of their parts (our choice: they fit a phone held upright).
WIDTH: Final = 360.0
_MARGIN: Final = 20.0
_LANE, _HEAD, _FOOT = 38.0, 22.0, 40.0
# Where a lane's values lie below its top, and the height of one more line of its label.
_DOTS, _LINE = 27.0, 15.0
# Share of the axis that an open reading has beyond its bound at least (our choice).
_OPEN_SHARE: Final = 0.15
# Characters that one line of a lane holds.
LINE: Final = 43
# A label gets at least so many, however long the values beside it are.
_SHORTEST: Final = 14


# --- dot strip -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Dot:
    """A value to draw; ``low`` and ``high`` of a range, ``bound`` where it is open to one side."""

    value: float
    low: float | None = None
    high: float | None = None
    bound: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Lane:
    """One line of a strip: what it is, its values as text, the values, or their middle half."""

    shape: str
    label: str
    said: str
    dots: tuple[Dot, ...] = ()
    half: tuple[float, float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedDot:
    """Where a value lies; ``start`` to ``end`` is its range or the way it is open to."""

    x: float
    start: float
    end: float
    bound: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedLine:
    """One line of a label in its place."""

    text: str
    y: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedLane:
    """A lane in its place; ``half`` is where the middle half begins, its middle, and its end."""

    shape: str
    lines: tuple[PlacedLine, ...]
    said: str
    y: float
    dots: tuple[PlacedDot, ...]
    half: tuple[float, float, float] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class DotStrip:
    """Lanes over one axis, with a band over all of them."""

    width: float
    height: float
    lanes: tuple[PlacedLane, ...]
    ticks: tuple[Tick, ...]
    axis_y: float
    axis: tuple[float, float]
    axis_label: str
    band: tuple[float, float] | None


def dot_strip(
    lanes: Sequence[Lane], *, axis_label: str, band: tuple[float, float] | None = None
) -> DotStrip:
    """Return a strip: every value by its lane's shape, the band over all of them.

    Raises
    ------
    ValueError
        If no lane holds a number.
    """
    numbers = [end for lane in lanes for dot in lane.dots for end in _ends(dot)]
    numbers += [end for lane in lanes for end in lane.half or ()]
    if not numbers:
        raise ValueError("expected at least one number to draw, got none")
    numbers += [*(band or ()), *_room_for_open(lanes, numbers)]
    scale, ticks = scale_over(numbers, _MARGIN, WIDTH - _MARGIN)
    placed, top = [], _HEAD
    for lane in lanes:
        placed.append(_place_lane(lane, scale, top=top))
        top = placed[-1].y + _LANE - _DOTS
    axis_y = top + 2
    return DotStrip(
        width=WIDTH,
        height=axis_y + _FOOT,
        lanes=tuple(placed),
        ticks=ticks,
        axis_y=axis_y,
        axis=(scale.start, scale.end),
        axis_label=axis_label,
        band=(scale.at(band[0]), scale.at(band[1])) if band else None,
    )


def _room_for_open(lanes: Sequence[Lane], numbers: Sequence[float]) -> list[float]:
    """Return how far the axis must reach so that an open reading has somewhere to point to."""
    spare = _OPEN_SHARE * ((max(numbers) - min(numbers)) or abs(numbers[0]) or 1.0)
    side = {"over": spare, "under": -spare}
    return [dot.value + side[dot.bound] for lane in lanes for dot in lane.dots if dot.bound]


def _ends(dot: Dot) -> tuple[float, ...]:
    return tuple(row for row in (dot.value, dot.low, dot.high) if row is not None)


def _place_lane(lane: Lane, scale: Scale, *, top: float) -> PlacedLane:
    half = lane.half
    # The values stand at the end of the first line; a long label runs on below it.
    lines = _lines(lane.label, max(LINE - len(lane.said) - 2, _SHORTEST))
    return PlacedLane(
        shape=lane.shape,
        lines=tuple(
            PlacedLine(text=text, y=top + 13 + _LINE * number) for number, text in enumerate(lines)
        ),
        said=lane.said,
        y=top + _DOTS + _LINE * (len(lines) - 1),
        dots=tuple(_place_dot(dot, scale) for dot in lane.dots),
        half=(scale.at(half[0]), scale.at(half[1]), scale.at(half[2])) if half else None,
    )


def _lines(label: str, width: int) -> Sequence[str]:
    # Most labels fit: a line without breaks and tabs, and without blanks at its ends, stays as it is.
    if len(label) <= width and label.isprintable() and label == label.strip():
        return [label]
    return _wrapped(label, width)


# Labels name causes and counts, which many cases share; some 300 bytes each (our choice).
@lru_cache(maxsize=2048)
def _wrapped(label: str, width: int) -> Sequence[str]:
    return wrap(label, width) or [""]


def _place_dot(dot: Dot, scale: Scale) -> PlacedDot:
    at = scale.at(dot.value)
    start = scale.start if dot.bound == "under" else at
    end = scale.end if dot.bound == "over" else at
    return PlacedDot(
        x=at,
        start=start if dot.low is None else scale.at(dot.low),
        end=end if dot.high is None else scale.at(dot.high),
        bound=dot.bound,
    )


# --- slope ---------------------------------------------------------------------------------------


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
