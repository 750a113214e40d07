"""From the numbers of a job to its pictures: words for every shape, and the table beside it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from flask import Blueprint

from kb.case.model import Finding, Job, Phase
from kb.case.terms import Vocabulary
from kb.diagnosis.cause_readings import CauseValues
from kb.retrieval.measures import plain_number
from kb.workflow.pictures import Move, cycles_of, lacks_refrigerant, moves_of
from kb.workflow.strips import MOST_STRIPS, Spot, Strip, strips_of
from kb.workflow.suggest import Suggestion
from web import db
from web.charts import Dot, DotStrip, Lane, Slope, dot_strip, slope
from web.cycle_picture import CyclePicture, cycle_picture
from web.strip_drawing import shape, strip_shapes
from web.wording import PHASES, amount, when_words, with_signs

bp = Blueprint("pictures", __name__)

# Values of one phase that are said on the picture itself; more stand in the table (our choice).
_MOST_SAID: Final = 3

bp.add_app_template_filter(strip_shapes)
bp.add_app_template_global(shape)

Rows = tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StripPicture:
    """A strip laid out, with its words and the rows of its table."""

    name: str
    about: tuple[str, ...]
    told: str
    chart: DotStrip
    rows: Rows


@dataclass(frozen=True, slots=True, kw_only=True)
class SlopePicture:
    """A slope laid out, with its words and the rows of its table."""

    name: str
    unit: str
    said: tuple[str, str]
    told: str
    chart: Slope
    rows: Rows


@dataclass(frozen=True, slots=True, kw_only=True)
class JobStrips:
    """The strips that tell most, and the others."""

    first: tuple[Strip, ...]
    others: tuple[Strip, ...]


@bp.app_template_global()
def job_strips(job: Job, answers: Suggestion | None) -> JobStrips:
    """Return the strips of a job: beside the likely causes, or its own cause once it is closed."""
    if job.closing:
        named = (job.closing.cause, job.closing.second_cause)
        causes = [cause for cause in named if cause]
    else:
        causes = [row.cause for row in answers.shown if row.cause] if answers else []
    memory = db.memory()
    found = strips_of(job, memory.model(), causes, altitude_m=memory.altitude_m)
    # Those that tell most come first.
    first = min(sum(row.telling > 0 for row in found), MOST_STRIPS)
    return JobStrips(first=found[:first], others=found[first:])


@bp.app_template_global()
def job_cycles(job: Job) -> tuple[CyclePicture, ...]:
    """Return a picture of the refrigerant's way round for each phase that tells of one."""
    found = cycles_of(job, altitude_m=db.memory().altitude_m)
    return tuple(cycle_picture(row, db.words()) for row in found)


def _number(value: float, unit: str) -> str:
    return amount(plain_number(value), unit)


def unit_words(unit: str) -> str:
    """Return a unit as it stands on an axis."""
    return amount("", unit).strip()


# --- strips --------------------------------------------------------------------------------------


@bp.app_template_global()
def strip_picture(row: Strip) -> StripPicture:
    """Return a strip laid out."""
    words = db.words()
    names = [f"{_cases(beside.count)}: {words.cause_name(beside.cause)}" for beside in row.causes]
    beside = list(zip(names, row.causes, strict=True))
    lanes = [*_own_lanes(row), *(_cause_lane(*pair) for pair in beside)]
    rows = (
        *_own_rows(row, words),
        *_band_rows(row),
        *((name, _cause_said(values, row.unit)) for name, values in beside),
    )
    return StripPicture(
        name=row.name,
        about=tuple(_about(row)),
        told="; ".join(f"{what}: {value}" for what, value in rows),
        chart=dot_strip(lanes, band=row.band, axis_label=unit_words(row.unit)),
        rows=rows,
    )


def _about(row: Strip) -> Iterator[str]:
    if row.sources:
        yield f"Computed from: {'; '.join(row.sources)}."
    if row.band:
        when = f" ({with_signs(row.band_when)})" if row.band_when else ""
        yield f"Usual, not a limit: {_span(row.band, row.unit)}{when}."
    if row.unread:
        yield f"Read without a number, so not drawn: {'; '.join(row.unread)}."


def _span(ends: tuple[float, float], unit: str) -> str:
    return f"{plain_number(ends[0])} to {_number(ends[1], unit)}"


def _own_lanes(row: Strip) -> Iterator[Lane]:
    for phase in Phase:
        spots = [spot for spot in row.spots if spot.phase is phase]
        if spots:
            yield Lane(
                shape=phase.value,
                label=f"This car, {PHASES[phase]}",
                said=_spots_said(spots, row.unit),
                dots=tuple(
                    Dot(value=spot.value, low=spot.low, high=spot.high, bound=spot.bound)
                    for spot in spots
                ),
            )


def _spots_said(spots: Sequence[Spot], unit: str) -> str:
    if len(spots) > _MOST_SAID:
        numbers = [spot.value for spot in spots]
        return f"{len(spots)} values, {plain_number(min(numbers))} to {plain_number(max(numbers))}"
    places = {spot.position for spot in spots}
    if len(places) == 1:
        values = ", ".join(_spot_said(spot, unit) for spot in spots)
        return " ".join(filter(None, (*places, values)))
    return ", ".join(
        " ".join(filter(None, (spot.position, _spot_said(spot, unit)))) for spot in spots
    )


def _spot_said(spot: Spot, unit: str) -> str:
    if spot.unit == unit:
        return spot.said
    sign = {"over": "over ", "under": "under "}.get(spot.bound or "", "")
    return sign + plain_number(spot.value)


def _own_rows(row: Strip, words: Vocabulary) -> Iterator[tuple[str, str]]:
    for spot in row.spots:
        when = when_words(spot.phase, spot.state, words)
        place = f", {spot.position}" if spot.position else ""
        yield f"This car{place}, {when}", amount(_spot_said(spot, row.unit), row.unit)


def _band_rows(row: Strip) -> Iterator[tuple[str, str]]:
    if row.band:
        yield "Usual, not a limit", _span(row.band, row.unit)


def _cause_lane(name: str, row: CauseValues) -> Lane:
    if row.values:
        return Lane(
            shape="case",
            label=name,
            said=_values_said(row.values),
            dots=tuple(Dot(value=value) for value in row.values),
        )
    return Lane(
        shape="half",
        label=name,
        said=f"half {plain_number(row.low)} to {plain_number(row.high)}",
        half=(row.low, row.middle, row.high),
    )


def _values_said(values: Sequence[float]) -> str:
    if len(values) > _MOST_SAID:
        return f"{plain_number(values[0])} to {plain_number(values[-1])}"
    return ", ".join(map(plain_number, values))


def _cause_said(row: CauseValues, unit: str) -> str:
    if row.values:
        *others, last = row.values
        return ", ".join([*map(plain_number, others), _number(last, unit)])
    middle = _number(row.middle, unit)
    return f"middle {middle}, middle half {_span((row.low, row.high), unit)}"


def _cases(count: int) -> str:
    return "1 case" if count == 1 else f"{count} cases"


# --- what an action moved ------------------------------------------------------------------------


@bp.app_template_global()
def finding_slopes(finding: Finding) -> tuple[SlopePicture, ...]:
    """Return a picture for each response of a finding that has two numbers."""
    return tuple(map(_slope_picture, moves_of(finding, db.words())))


def _slope_picture(row: Move) -> SlopePicture:
    said = (amount(row.before_said, row.unit), amount(row.after_said, row.unit))
    rows = [("Before the action", said[0]), ("After it", said[1])]
    if row.band:
        rows.append(("Usual, not a limit", _span(row.band, row.unit)))
    return SlopePicture(
        name=row.name,
        unit=unit_words(row.unit),
        said=said,
        told=f"From {said[0]} before the action to {said[1]} after it",
        chart=slope(row.before, row.after, band=row.band),
        rows=tuple(rows),
    )


@bp.app_template_test("lacking_refrigerant")
def lacking_refrigerant(job: Job) -> bool:
    """Say whether only the refrigerant is missing for a picture of the cycle."""
    return lacks_refrigerant(job)
