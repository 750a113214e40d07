"""Bars, lines and points over two axes, laid out as ``web.charts`` does it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from web.charts import WIDTH
from web.scales import Scale, Tick, log_ticks, ticks_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """Points joined by a line; ``style`` names how it is drawn: solid, dashed, thick, thin."""

    points: tuple[tuple[float, float], ...]
    style: str = "solid"


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A point with its text; ``interval`` is drawn upright through it."""

    x: float
    y: float
    label: str = ""
    anchor: str = "start"
    shift: tuple[float, float] = (0.0, 0.0)
    shape: str = "circle"
    interval: tuple[float, float] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """A bar from the foot of the picture up to ``y``, ``width`` wide around ``x``."""

    x: float
    y: float
    width: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedBar:
    """A bar in its place."""

    x: float
    y: float
    width: float
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedCurve:
    """A line in its place, as the points of an SVG polyline."""

    points: str
    style: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PlacedMark:
    """A point in its place, with the place of its text."""

    x: float
    y: float
    label: str
    text_x: float
    text_y: float
    anchor: str
    shape: str
    interval: tuple[float, float] | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Plot:
    """Bars, lines and points over two axes; ``below`` is a second row of texts under the axis."""

    width: float
    height: float
    left: float
    bottom: float
    right: float
    top: float
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]
    x_label: str
    y_label: str
    curves: tuple[PlacedCurve, ...]
    marks: tuple[PlacedMark, ...]
    bars: tuple[PlacedBar, ...]
    below: tuple[Tick, ...]
    below_label: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Axes:
    """Ends and words of both axes; ``x_step`` apart, ``y_step`` apart or in equal ratios.

    ``x_names`` are places with their names, instead of numbers; ``below`` the same for a second
    row, which ``below_label`` names.
    """

    x: tuple[float, float]
    y: tuple[float, float]
    x_step: float
    x_label: str
    y_label: str
    y_step: float | None = None
    height: float = 300.0
    x_names: tuple[tuple[float, str], ...] = ()
    below: tuple[tuple[float, str], ...] = ()
    below_label: str = ""


# Height of a second row of texts under the axis.
_ROW: Final = 18.0


def plot(
    axes: Axes,
    *,
    curves: Sequence[Curve] = (),
    marks: Sequence[Mark] = (),
    bars: Sequence[Bar] = (),
) -> Plot:
    """Return all in its place; a ``y_step`` of None makes equal ratios."""
    left, right, top = 54.0, WIDTH - 14, 26.0
    bottom = axes.height - 44 - (_ROW if axes.below else 0.0)
    across = Scale(low=axes.x[0], high=axes.x[1], start=left, end=right)
    up = Scale(low=axes.y[0], high=axes.y[1], start=bottom, end=top, log=axes.y_step is None)
    return Plot(
        width=WIDTH,
        height=axes.height,
        left=left,
        bottom=bottom,
        right=right,
        top=top,
        x_ticks=_named(axes.x_names, across) or ticks_of(across, axes.x_step),
        y_ticks=log_ticks(up) if axes.y_step is None else ticks_of(up, axes.y_step),
        x_label=axes.x_label,
        y_label=axes.y_label,
        curves=tuple(
            PlacedCurve(
                points=" ".join(f"{across.at(x):g},{up.at(y):g}" for x, y in row.points),
                style=row.style,
            )
            for row in curves
        ),
        marks=tuple(_place_mark(row, across, up) for row in marks),
        bars=tuple(_place_bar(row, across, up) for row in bars),
        below=_named(axes.below, across),
        below_label=axes.below_label,
    )


def _named(names: Sequence[tuple[float, str]], across: Scale) -> tuple[Tick, ...]:
    return tuple(Tick(name, across.at(value)) for value, name in names)


def _place_bar(row: Bar, across: Scale, up: Scale) -> PlacedBar:
    start, end = across.at(row.x - row.width / 2), across.at(row.x + row.width / 2)
    top = up.at(row.y)
    return PlacedBar(x=start, y=top, width=round(end - start, 2), height=round(up.start - top, 2))


def _place_mark(row: Mark, across: Scale, up: Scale) -> PlacedMark:
    x, y = across.at(row.x), up.at(row.y)
    return PlacedMark(
        x=x,
        y=y,
        label=row.label,
        text_x=x + row.shift[0],
        text_y=y + row.shift[1],
        anchor=row.anchor,
        shape=row.shape,
        interval=(up.at(row.interval[0]), up.at(row.interval[1])) if row.interval else None,
    )
