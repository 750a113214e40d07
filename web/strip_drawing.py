"""The shapes of a strip as text of an SVG picture.

A case shows some seven strips, and a template takes twice as long for their shapes.
"""

from collections.abc import Iterator
from functools import lru_cache
from typing import Final

from web.charts import DotStrip, PlacedDot, PlacedLane
from web.drawing import escaped
from web.scales import Tick

# What stands in every strip; presentation attributes only, in the colour of the text.
_HOLLOW: Final = 'fill="none" stroke="currentColor"'
_BAND: Final = (
    'fill="currentColor" fill-opacity="0.1" stroke="currentColor" stroke-opacity="0.6" '
    'stroke-dasharray="4 3"'
)
_DOTTED: Final = 'stroke="currentColor" stroke-opacity="0.35" stroke-dasharray="1 4"'


def strip_shapes(chart: DotStrip) -> str:
    """Return all that stands in the picture of a strip; what is no number is escaped here."""
    # Writing a number takes longer than anything else here.
    left, right = map(str, chart.axis)
    return (
        f"{_band(chart)}\n{''.join([_lane(row, left, right) for row in chart.lanes])}\n"
        f"{_axis(chart.axis, chart.axis_y, chart.ticks)}"
        f'<text x="{chart.width / 2}" y="{chart.axis_y + 36}" text-anchor="middle">'
        f"{escaped(chart.axis_label)}</text>\n"
    )


def _band(chart: DotStrip) -> str:
    if not chart.band:
        return ""
    start, end = chart.band
    # Near an end of the picture the word runs inwards.
    anchor = "start" if start + end < 130 else "end" if start + end > 590 else "middle"
    return (
        f'<rect data-part="band" x="{start}" y="16" width="{round(end - start, 2)}" '
        f'height="{chart.axis_y - 16}" {_BAND}/>\n'
        f'<text x="{round((start + end) / 2, 2)}" y="11" text-anchor="{anchor}">usual</text>'
    )


def _lane(lane: PlacedLane, left: str, right: str) -> str:
    y, lines = lane.y, lane.lines
    label = "".join([f'<text x="{left}" y="{row.y}">{escaped(row.text)}</text>' for row in lines])
    return (
        f'{label}<text x="{right}" y="{lines[0].y}" text-anchor="end" font-weight="700">'
        f'{escaped(lane.said)}</text>\n<path d="M{left} {y}H{right}" {_DOTTED}/>\n'
        f"{_half(lane.half, y)}\n{''.join([_dot(lane.shape, row, y) for row in lane.dots])}"
    )


def _half(half: tuple[float, float, float] | None, y: float) -> str:
    if not half:
        return ""
    start, middle, end = half
    return (
        f'<rect data-part="half" x="{start}" y="{y - 6}" width="{round(end - start, 2)}" '
        f'height="12" {_HOLLOW} stroke-width="2"/><path data-part="middle" '
        f'd="M{middle} {y - 6}v12" stroke="currentColor" stroke-width="3"/>'
    )


def _dot(kind: str, dot: PlacedDot, y: float) -> str:
    span = "".join(_range(dot, y)) if dot.start != dot.end else ""
    return f"{span}{shape(kind, dot.x, y)}\n"


def _range(dot: PlacedDot, y: float) -> Iterator[str]:
    yield (
        f'<path data-part="range" d="M{dot.start} {y}H{dot.end}" '
        'stroke="currentColor" stroke-width="3"/>'
    )
    if dot.bound == "over":
        yield f'<path d="M{dot.end - 7} {y - 6}l7 6l-7 6" {_HOLLOW} stroke-width="2.5"/>'
    elif dot.bound == "under":
        yield f'<path d="M{dot.start + 7} {y - 6}l-7 6l7 6" {_HOLLOW} stroke-width="2.5"/>'


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


# A round axis has few ticks, and strips of so many lanes one height; half a kilobyte each (our
# choice).
@lru_cache(maxsize=512)
def _axis(ends: tuple[float, float], y: float, ticks: tuple[Tick, ...]) -> str:
    line = f'<path d="M{ends[0]} {y}H{ends[1]}" stroke="currentColor" stroke-width="1.5"/>\n'
    return line + "".join(
        [
            f'<path d="M{at} {y}v5" stroke="currentColor" stroke-width="1.5"/><text '
            f'data-part="tick" x="{at}" y="{y + 19}" text-anchor="middle">{label}</text>\n'
            for label, at in ticks
        ]
    )
