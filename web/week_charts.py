"""Pictures of the week: counts against what was expected, days to a cause."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, Final

from kb.diagnosis.reliability import Band
from kb.workflow.week.rows import WeekRow
from web.lasting_picture import repairs_that_hold
from web.plots import Axes, Bar, Curve, Mark, plot
from web.scales import round_step
from web.trust_picture import trust_picture
from web.week_picture import WeekPicture

Numbers = Mapping[str, Any]
Points = tuple[tuple[float, float], ...]

# Weeks between two names on the axis, and how much of its week a bar fills (our choice).
_NAMED_EVERY: Final = 5
_BAR: Final = 0.7
# Weeks that the name of the expected line is wide.
_NAME: Final = 6
_HEIGHT: Final = 230.0


def picture_of(row: WeekRow) -> WeekPicture | None:
    """Return the picture of a row, None for rows that have none or too little to draw."""
    draw = _PICTURES.get(row.kind)
    return draw(row.numbers) if draw else None


# --- weeks ---------------------------------------------------------------------------------------


def _week_names(weeks: Sequence[Numbers]) -> tuple[tuple[float, str], ...]:
    """Return places and short names of some weeks, the newest always among them."""
    last = len(weeks) - 1
    return tuple(
        (float(at), _short(row)) for at, row in enumerate(weeks) if (last - at) % _NAMED_EVERY == 0
    )


def _short(row: Numbers) -> str:
    """Return the name of a week without its year; a picture shows no two of one number."""
    return str(row["week"]).partition("-")[2]


def _week_axes(weeks: Sequence[Numbers], most: float, y_label: str) -> Axes:
    step = max(1.0, round_step(max(most, 1.0)))
    return Axes(
        x=(-0.6, len(weeks) - 0.4),
        # Room over the highest for its number.
        y=(0.0, step * (most // step + 1)),
        x_step=1.0,
        y_step=step,
        x_label="week closed in",
        y_label=y_label,
        height=_HEIGHT,
        x_names=_week_names(weeks),
    )


def _stretches(weeks: Sequence[Numbers], key: str) -> Iterator[Points]:
    """Return a number of each week as level pieces; a week without it breaks the line."""
    points: list[tuple[float, float]] = []
    for at, row in enumerate(weeks):
        value = row.get(key)
        if value is not None:
            points += [(at - 0.5, float(value)), (at + 0.5, float(value))]
        elif points:
            yield tuple(points)
            points = []
    if points:
        yield tuple(points)


def counted_by_week(numbers: Numbers) -> WeekPicture | None:
    """Return counts as bars, with what was expected and the most that luck brings as lines."""
    weeks = numbers.get("weeks") or ()
    together = numbers.get("recent_weeks", 8)
    about = f"One week alone says little; what counts is the last {together} weeks together."
    return _counts(weeks, bars="came in", about=about)


def back_by_week(numbers: Numbers) -> WeekPicture | None:
    """Return the repairs of each week that came back, with what was expected of so many."""
    weeks = [{**row, "expected": row["centre"] * row["of"]} for row in numbers.get("weeks") or ()]
    if not weeks:
        return None
    about = (
        f"Each week holds the repairs that were closed in it and came back within "
        f"{numbers['holding_days']} days; weeks with few repairs are left out."
    )
    return _counts(weeks, bars="came back", about=about)


def _counts(weeks: Sequence[Numbers], *, bars: str, about: str) -> WeekPicture | None:
    if not weeks:
        return None
    has_limits = any(row.get("expected") is not None for row in weeks)
    tops = [float(row.get(key) or 0) for row in weeks for key in ("count", "upper")]
    curves = [
        Curve(points=points, style=style)
        for key, style in (("expected", "dashed"), ("upper", "thin"))
        for points in _stretches(weeks, key)
    ]
    lines = (
        " Dashed: expected. Thin line: the most that luck alone usually brings."
        if has_limits
        else ""
    )
    heads = ("Week", bars.capitalize())
    return WeekPicture(
        name="Week by week",
        about=(f"Bars: {bars}.{lines} {about}",),
        told="; ".join(f"{row['week']}: {row['count']}" for row in weeks if row["count"])
        or "none in any week",
        chart=plot(
            _week_axes(weeks, max(tops), bars),
            bars=[Bar(x=at, y=row["count"], width=_BAR) for at, row in _counted(weeks)],
            curves=curves,
            marks=[*_over_limit(weeks), *_line_names(weeks)],
        ),
        heads=(*heads, "Expected", "Most by luck") if has_limits else heads,
        rows=tuple(_count_cells(row, has_limits=has_limits) for row in weeks),
    )


def _counted(weeks: Sequence[Numbers]) -> Iterator[tuple[int, Numbers]]:
    return ((at, row) for at, row in enumerate(weeks) if row["count"])


def _over_limit(weeks: Sequence[Numbers]) -> Iterator[Mark]:
    """Return the number over each bar that is above the limit."""
    for at, row in _counted(weeks):
        if row.get("upper") is not None and row["count"] > row["upper"]:
            yield Mark(
                x=at, y=row["count"], label=str(row["count"]), anchor="middle", shift=(0, -5),
                shape="none",
            )  # fmt: skip


def _line_names(weeks: Sequence[Numbers]) -> Iterator[Mark]:
    """Return the names of both lines, that of the expected one only where no bar stands in it."""
    tops = [row["upper"] for row in weeks[: 2 * _NAME] if row.get("upper") is not None]
    if tops:
        # Above the highest of the weeks that it is wide, so that the line does not run through it.
        yield Mark(x=-0.4, y=max(tops), label="most by luck", shift=(0, -4), shape="none")
    known = [at for at, row in enumerate(weeks) if row.get("expected") is not None]
    at = next((at for at in known if _is_empty(weeks[at : at + _NAME])), None)
    if at is not None:
        expected = weeks[at]["expected"]
        yield Mark(x=at - 0.4, y=expected, label="expected", shift=(0, -4), shape="none")


def _is_empty(weeks: Sequence[Numbers]) -> bool:
    return not any(row["count"] for row in weeks)


def _count_cells(row: Numbers, *, has_limits: bool) -> tuple[str, ...]:
    cells = (_short(row), str(row["count"]))
    if not has_limits:
        return cells
    return (*cells, *(_number(row.get(key)) for key in ("expected", "upper")))


def _number(value: float | None) -> str:
    return "–" if value is None else f"{value:.1f}".removesuffix(".0")


# --- days to a cause -----------------------------------------------------------------------------


def days_by_week(numbers: Numbers) -> WeekPicture | None:
    """Return the middle job of each week as a point, the middle half as an upright line."""
    weeks = numbers.get("weeks") or ()
    known = [(at, row) for at, row in enumerate(weeks) if row["middle"] is not None]
    if not known:
        return None
    return WeekPicture(
        name="Days from opening to closing",
        about=(
            "Point: half of the week's jobs took no longer. Upright line: the middle half of them. "
            "Weeks with fewer than 5 jobs have no point.",
        ),
        told="; ".join(
            f"{row['week']}: {_number(row['middle'])}, {_number(row['low'])} to "
            f"{_number(row['high'])}"
            for _, row in known
        ),
        chart=plot(
            _week_axes(weeks, max(row["high"] for _, row in known), "days"),
            marks=[
                Mark(x=at, y=row["middle"], shape="before", interval=(row["low"], row["high"]))
                for at, row in known
            ],
        ),
        heads=("Week", "Jobs", "A quarter took up to", "Half took up to", "Three quarters up to"),
        rows=tuple(
            (
                _short(row),
                str(row["jobs"]),
                *(_number(row[key]) for key in ("low", "middle", "high")),
            )
            for row in weeks
        ),
    )


def said_and_true(numbers: Numbers) -> WeekPicture | None:
    """Return what was said before the closes held against what proved true, as on the Trust page."""
    kept = numbers.get("bands") or ()
    if not kept:
        return None
    bands = [Band(**{**row, "interval": tuple(row["interval"])}) for row in kept]
    made = trust_picture("What was said, and what proved true", bands)
    return WeekPicture(
        name=made.name,
        about=made.about,
        told=made.told,
        chart=made.chart,
        heads=made.heads,
        rows=made.rows,
    )


_PICTURES: Final[Mapping[str, Callable[[Numbers], WeekPicture | None]]] = {
    "rising_cause": counted_by_week,
    "rising_pair": counted_by_week,
    "rising_complaint": counted_by_week,
    "came_back": back_by_week,
    "pace": days_by_week,
    "lasting": repairs_that_hold,
    "answers_helped": said_and_true,
}
