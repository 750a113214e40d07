"""How long repairs hold, as steps going down with how many were followed that long."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

from web.plots import Axes, Curve, Mark, Plot, plot
from web.scales import round_step
from web.week_picture import WeekPicture

# Rows of the table at most, and numbers under the picture (our choice).
_MOST_ROWS: Final = 12
_NUMBERS: Final = 5
_HEIGHT: Final = 260.0
_HEADS: Final = ("Days", "Still holding, %", "With luck either way", "Followed so long")

Steps = list[tuple[float, float]]


def repairs_that_hold(numbers: Mapping[str, Any]) -> WeekPicture | None:
    """Return the share of repairs still holding by days since; None before one came back."""
    times: Sequence[float] = numbers.get("times") or ()
    if not times:
        return None
    last = _end(numbers)
    shown = _spread(times, _MOST_ROWS)
    rows = tuple(_row(numbers, at) for at in shown)
    least = _least(numbers)
    return WeekPicture(
        name="Repairs that hold",
        about=(
            "Steps: of 100 repairs so many still hold. Dashed: with luck either way. Under the "
            f"days: how many cars were followed that long. The upright scale begins at {least:g}.",
        ),
        told="; ".join(f"{row[0]} days: {row[1]} % ({row[2]})" for row in rows),
        chart=_chart(numbers, least, last),
        heads=_HEADS,
        rows=rows,
    )


def _end(numbers: Mapping[str, Any]) -> float:
    """Return the last day that is drawn: of the holding period where it can be told so far.

    One day at least: a car may come back on the very day of its repair, and no other since.
    """
    last = max(1.0, float(numbers["times"][-1]))
    return max(last, float(numbers["holding_days"])) if numbers.get("held") else last


def _spread(times: Sequence[float], most: int) -> list[int]:
    """Return places spread evenly over all, the first and the last among them."""
    if len(times) <= most:
        return list(range(len(times)))
    return sorted({round(at * (len(times) - 1) / (most - 1)) for at in range(most)})


def _row(numbers: Mapping[str, Any], at: int) -> tuple[str, ...]:
    low, high = numbers["low"][at], numbers["high"][at]
    luck = "–" if low is None or high is None else f"{100 * low:.0f} to {100 * high:.0f}"
    share = 100 * numbers["survival"][at]
    return f"{numbers['times'][at]:g}", f"{share:.1f}", luck, str(numbers["at_risk"][at])


def _least(numbers: Mapping[str, Any]) -> float:
    """Return a round number below all that is drawn, in percent; the whole axis would hide it."""
    known = [*numbers["survival"], *(row for row in numbers["low"] if row is not None)]
    low = 100.0 * float(min(known))
    step = round_step(100 - low) if low < 100 else 1.0
    return max(0.0, step * (low // step))


def _chart(numbers: Mapping[str, Any], least: float, last: float) -> Plot:
    times = numbers["times"]
    axes = Axes(
        x=(0.0, last),
        y=(least, 100.0),
        x_step=round_step(last),
        y_step=round_step(100 - least),
        x_label="days since the repair",
        y_label="still holding, %",
        height=_HEIGHT,
        below=_followed(numbers, last),
        below_label="cars",
    )
    curves = [Curve(points=tuple(_steps(times, numbers["survival"], last)))]
    curves += [
        Curve(points=tuple(_steps(times, numbers[key], last)), style="dashed")
        for key in ("low", "high")
    ]
    end = 100 * numbers["survival"][-1]
    # Below the end of the curve, where there is nothing but the lower line.
    said = Mark(x=last, y=end, label=f"{end:.0f} %", anchor="end", shift=(0, 17), shape="none")
    return plot(axes, curves=curves, marks=[said])


def _steps(times: Sequence[float], shares: Sequence[float | None], last: float) -> Steps:
    """Return a share in percent as steps that go down at their days; it ends where none is."""
    points, share = [(0.0, 100.0)], 100.0
    for time, known in zip(times, shares, strict=True):
        points.append((time, share))
        if known is None:
            return points
        share = 100 * known
        points.append((time, share))
    return [*points, (last, share)]


def _followed(numbers: Mapping[str, Any], last: float) -> tuple[tuple[float, str], ...]:
    """Return how many were followed at some days that lie apart, the first and the last."""
    known = [(0.0, numbers["repairs"]), *zip(numbers["times"], numbers["at_risk"], strict=True)]
    if numbers.get("held") and last > known[-1][0]:
        known.append((last, numbers["held"]["at_risk"]))
    found, apart = [known[0]], last / _NUMBERS
    for time, left in known[1:]:
        if time - found[-1][0] >= apart and (last - time >= apart or time == last):
            found.append((time, left))
    return tuple((float(time), str(left)) for time, left in found)
