"""Chances against what came true as a picture: points on two axes, with the table beside them."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from kb.diagnosis.reliability import Band
from web.plots import Axes, Curve, Mark, Plot, plot
from web.wording import percent

_HEADS: Final = ("Said", "Jobs", "Said on the mean", "Proved true", "With luck either way")

# Percent beyond which there is no room for a text (our choice).
_NEAR_THE_TOP: Final = 92.0


@dataclass(frozen=True, slots=True, kw_only=True)
class TrustPicture:
    """Bands of chances laid out, with their words and the rows of their table."""

    name: str
    about: tuple[str, ...]
    told: str
    chart: Plot
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def trust_picture(name: str, bands: Sequence[Band]) -> TrustPicture:
    """Return bands as points: what was said across, what proved true upwards."""
    rows = tuple(_row(band) for band in bands)
    return TrustPicture(
        name=name,
        about=(
            "Each point is a band of chances, with how many proved true. On the dashed line, what "
            "is said comes true as often as it is said; below it, too much was said. The upright "
            "line is how far luck alone may move the point (95 %).",
        ),
        told="; ".join(f"said {row[0]}: {row[3]} proved true ({row[4]})" for row in rows),
        chart=_chart(bands),
        heads=_HEADS,
        rows=rows,
    )


def _row(band: Band) -> tuple[str, ...]:
    low, high = band.interval
    return (
        f"{band.low:.0%} to {band.high:.0%}",
        str(band.answers),
        percent(band.said),
        f"{band.right} of {band.answers} ({band.right / band.answers:.0%})",
        f"{low:.0%} to {high:.0%}",
    )


def _chart(bands: Sequence[Band]) -> Plot:
    axes = Axes(
        x=(0.0, 100.0),
        y=(0.0, 100.0),
        x_step=20.0,
        y_step=20.0,
        x_label="said, %",
        y_label="proved true, %",
        height=340.0,
    )
    marks = [mark for at, band in enumerate(bands) for mark in _marks(band, is_above=at % 2 == 0)]
    even = Curve(points=((0.0, 0.0), (100.0, 100.0)), style="dashed")
    return plot(axes, curves=(even,), marks=marks)


def _marks(band: Band, *, is_above: bool) -> tuple[Mark, Mark]:
    """Return the point of a band, and its count beyond one end of the upright line.

    Neighbours have theirs at different ends, so that they do not run into each other.
    """
    low, high = (100 * end for end in band.interval)
    at = 100 * band.said
    point = Mark(x=at, y=100 * band.right / band.answers, shape="before", interval=(low, high))
    said = f"{band.right} of {band.answers}"
    if (is_above and high < _NEAR_THE_TOP) or low < 100 - _NEAR_THE_TOP:
        return point, Mark(x=at, y=high, label=said, anchor="middle", shift=(0, -7), shape="none")
    return point, Mark(x=at, y=low, label=said, anchor="middle", shift=(0, 16), shape="none")
