"""A strip as text of an SVG picture: every value of a lane in its place over one axis.

Presentation attributes only, in the colour of the text, as of all pictures. A case shows some seven
strips: they are placed and written in one go, and a template takes twice as long for their shapes.
"""

from collections.abc import Iterable, Sequence
from functools import lru_cache
from textwrap import wrap
from typing import Final, NamedTuple

from kb.workflow.strips import Spot
from web.charts import WIDTH
from web.drawing import escaped
from web.scales import Places, Scale, places, round_ends, ticks_of

# Size of a strip's parts (our choice: they fit a phone held upright).
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
# What stands in every strip.
_LEFT, _RIGHT = _MARGIN, WIDTH - _MARGIN
_HOLLOW: Final = 'fill="none" stroke="currentColor"'
_BAND: Final = (
    'fill="currentColor" fill-opacity="0.1" stroke="currentColor" stroke-opacity="0.6" '
    'stroke-dasharray="4 3"'
)
_DOTTED: Final = 'stroke="currentColor" stroke-opacity="0.35" stroke-dasharray="1 4"'
# Writing a number takes longer than anything else here.
_AT_LEFT, _AT_RIGHT = f'<text x="{_LEFT}"', f'<text x="{_RIGHT}"'
_FROM_LEFT: Final = f'<path d="M{_LEFT} '
_TO_RIGHT: Final = f'H{_RIGHT}" {_DOTTED}/>'

# Which way an open reading points.
_SIDE: Final = {"over": 1.0, "under": -1.0}

Half = tuple[float, float, float]


class Lane(NamedTuple):
    """One line of a strip: its label, what is said at its end, and what lies on it.

    That are ``spots`` of this car, each by ``shape``; or ``values`` of cases; or a middle ``half``
    of cases with its middle.
    """

    label: str
    said: str
    shape: str = "case"
    spots: Sequence[Spot] = ()
    values: Sequence[float] = ()
    half: Half | None = None


class Drawn(NamedTuple):
    """All that stands in the picture of a strip, and how high that is."""

    height: float
    shapes: str


def strip_shapes(
    lanes: Sequence[Lane], *, axis_label: str, band: tuple[float, float] | None = None
) -> Drawn:
    """Return a strip: every value by its lane's shape, the band over all; texts are escaped here.

    Raises
    ------
    ValueError
        If no lane holds a number.
    """
    numbers = _numbers(lanes, band)
    ends = round_ends(min(numbers), max(numbers))
    at = places(ends[0], ends[1], start=_LEFT, end=_RIGHT)
    drawn, top = [], _HEAD
    for lane in lanes:
        # The values stand at the end of the first line; a long label runs on below it.
        lines = _lines(lane.label, max(LINE - len(lane.said) - 2, _SHORTEST))
        y = top + _DOTS + _LINE * (len(lines) - 1)
        drawn += [_said(lines, lane.said, top + 13), _values(lane, at, y)]
        top = y + _LANE - _DOTS
    axis_y = top + 2
    return Drawn(
        axis_y + _FOOT,
        f"{_band(band, at, axis_y)}\n{''.join(drawn)}\n{_axis(ends, axis_y, axis_label)}",
    )


def _numbers(lanes: Iterable[Lane], band: tuple[float, float] | None) -> list[float]:
    """Return all that must lie on the axis."""
    numbers, spots = list[float](), list[Spot]()
    for lane in lanes:
        numbers += lane.half or lane.values
        spots += lane.spots
    numbers += [end for row in spots for end in (row.value, row.low, row.high) if end is not None]
    if not numbers:
        raise ValueError("expected at least one number to draw, got none")
    # An open reading needs somewhere to point to.
    spare = _OPEN_SHARE * ((max(numbers) - min(numbers)) or abs(numbers[0]) or 1.0)
    numbers += [row.value + _SIDE[row.bound] * spare for row in spots if row.bound]
    return [*numbers, *(band or ())]


def _band(band: tuple[float, float] | None, at: Places, axis_y: float) -> str:
    if not band:
        return ""
    start, end = map(at, band)
    # Near an end of the picture the word runs inwards.
    anchor = "start" if start + end < 130 else "end" if start + end > 590 else "middle"
    return (
        f'<rect data-part="band" x="{start}" y="16" width="{round(end - start, 2)}" '
        f'height="{axis_y - 16}" {_BAND}/>\n'
        f'<text x="{round((start + end) / 2, 2)}" y="11" text-anchor="{anchor}">usual</text>'
    )


def _said(lines: Sequence[str], said: str, y: float) -> str:
    """Return the lines of a label from ``y`` on, and what stands at the end of the first."""
    label = "".join(
        [
            f'{_AT_LEFT} y="{y + _LINE * number}">{escaped(text)}</text>'
            for number, text in enumerate(lines)
        ]
    )
    return (
        f'{label}{_AT_RIGHT} y="{y}" text-anchor="end" font-weight="700">{escaped(said)}</text>\n'
    )


def _values(lane: Lane, at: Places, y: float) -> str:
    dots = [f"{shape('case', at(value), y)}\n" for value in lane.values]
    dots += [
        f"{_range(spot, at, y)}{shape(lane.shape, at(spot.value), y)}\n" for spot in lane.spots
    ]
    half = _half(lane.half, at, y) if lane.half else ""
    return f"{_FROM_LEFT}{y}{_TO_RIGHT}\n{half}\n{''.join(dots)}"


def _lines(label: str, width: int) -> Sequence[str]:
    # Most labels fit: a line without breaks and tabs, and without blanks at its ends, stays as it is.
    if len(label) <= width and label.isprintable() and label == label.strip():
        return [label]
    return _wrapped(label, width)


# Labels name causes and counts, which many cases share; some 300 bytes each (our choice).
@lru_cache(maxsize=2048)
def _wrapped(label: str, width: int) -> Sequence[str]:
    return wrap(label, width) or [""]


def _half(half: Half, at: Places, y: float) -> str:
    start, middle, end = map(at, half)
    above = str(y - 6)
    return (
        f'<rect data-part="half" x="{start}" y="{above}" width="{round(end - start, 2)}" '
        f'height="12" {_HOLLOW} stroke-width="2"/><path data-part="middle" '
        f'd="M{middle} {above}v12" stroke="currentColor" stroke-width="3"/>'
    )


def _range(spot: Spot, at: Places, y: float) -> str:
    """Return the range of a value, or the way it is open to."""
    if spot.low is None and spot.high is None and spot.bound is None:
        return ""
    start = end = at(spot.value)
    under, over = spot.bound == "under", spot.bound == "over"
    start = at(spot.low) if spot.low is not None else _LEFT if under else start
    end = at(spot.high) if spot.high is not None else _RIGHT if over else end
    if start == end:
        return ""
    line = (
        f'<path data-part="range" d="M{start} {y}H{end}" stroke="currentColor" stroke-width="3"/>'
    )
    if over:
        return f'{line}<path d="M{end - 7} {y - 6}l7 6l-7 6" {_HOLLOW} stroke-width="2.5"/>'
    if under:
        return f'{line}<path d="M{start + 7} {y - 6}l-7 6l7 6" {_HOLLOW} stroke-width="2.5"/>'
    return line


def shape(kind: str, x: float, y: float) -> str:
    """Return the shape of one value: as found, during a check, after the repair, of a case."""
    if kind == "before":
        return f'<circle data-part="mark" cx="{x}" cy="{y}" r="6" fill="currentColor"/>'
    if kind == "during":
        return f'<path data-part="mark" d="M{x} {y - 7}l7 12h-14z" {_HOLLOW} stroke-width="2.5"/>'
    if kind == "after":
        return (
            f'<rect data-part="mark" x="{x - 5.5}" y="{y - 5.5}" width="11" height="11" '
            'fill="currentColor"/>'
        )
    return f'<circle data-part="mark" cx="{x}" cy="{y}" r="4.5" {_HOLLOW} stroke-width="2"/>'


# Of the 28,000 strips of 4,000 cases 3,700 axes differ, and eight in ten are among so many that were
# kept; a kilobyte each (our choice).
@lru_cache(maxsize=2048)
def _axis(ends: tuple[float, float, float], y: float, label: str) -> str:
    low, high, step = ends
    ticks = "".join(
        [
            f'<path d="M{at} {y}v5" stroke="currentColor" stroke-width="1.5"/><text '
            f'data-part="tick" x="{at}" y="{y + 19}" text-anchor="middle">{name}</text>\n'
            for name, at in ticks_of(Scale(low=low, high=high, start=_LEFT, end=_RIGHT), step)
        ]
    )
    return (
        f'<path d="M{_LEFT} {y}H{_RIGHT}" stroke="currentColor" stroke-width="1.5"/>\n{ticks}'
        f'<text x="{WIDTH / 2}" y="{y + 36}" text-anchor="middle">{escaped(label)}</text>\n'
    )
