"""From the numbers of a job to its pictures: words for every shape, and the table beside it."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from flask import Blueprint

from kb.case.model import Finding, Job, Phase
from kb.case.terms import Vocabulary
from kb.diagnosis.cause_readings import CauseValues
from kb.retrieval.measures import plain_number
from kb.workflow.pictures import Move, cycles_of, lacks_refrigerant, moves_of
from kb.workflow.strips import MOST_STRIPS, Spot, Strip, strips_of
from kb.workflow.suggest import Suggestion
from web import db
from web.charts import WIDTH, Slope, slope
from web.cycle_picture import CyclePicture, cycle_picture
from web.drawing import escaped
from web.figure import numbers_table, picture_head, picture_numbers, svg_head
from web.strip_drawing import Lane, shape, strip_shapes
from web.wording import PHASES, amount, when_words, with_signs

bp = Blueprint("pictures", __name__)

# Values of one phase that are said on the picture itself; more stand in the table (our choice).
_MOST_SAID: Final = 3

# How each lane of this car is called.
_OWN: Final = tuple((phase, f"This car, {PHASES[phase]}") for phase in Phase)

bp.add_app_template_global(shape)
bp.add_app_template_global(picture_head)
bp.add_app_template_global(picture_numbers)

Rows = tuple[tuple[str, str], ...]


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
def strip_figure(row: Strip, anchor: str) -> str:
    """Return a strip as text of a page, with its words and its table; all is escaped here."""
    words = db.words()
    own, beside = _own(row, words), [_beside(cause, row.unit, words) for cause in row.causes]
    lanes = [*own.lanes, *[lane for lane, _ in beside]]
    drawn = strip_shapes(lanes, band=row.band, axis_label=unit_words(row.unit))
    band = _span(row.band, row.unit) if row.band else ""
    usual = [("Usual, not a limit", band)] if band else []
    rows = [*own.rows, *usual, *[(lane.label, said) for lane, said in beside]]
    written = [(escaped(what), escaped(said)) for what, said in rows]
    name = escaped(row.name)
    told = "; ".join([f"{what}: {said}" for what, said in written])
    about = "".join([f'<p class="small">{escaped(line)}</p>' for line in _about(row, band)])
    return (
        f'\n<figure class="picture"><figcaption><strong>{name}</strong></figcaption>\n'
        f"{svg_head(anchor, (WIDTH, drawn.height), name=name, told=told)}\n{drawn.shapes}</svg>\n"
        f"{about}\n{numbers_table(name, written)}</figure>\n"
    )


def _about(row: Strip, band: str) -> Iterator[str]:
    if row.sources:
        yield f"Computed from: {'; '.join(row.sources)}."
    if band:
        when = f" ({with_signs(row.band_when)})" if row.band_when else ""
        yield f"Usual, not a limit: {band}{when}."
    if row.unread:
        yield f"Read without a number, so not drawn: {'; '.join(row.unread)}."


def _span(ends: tuple[float, float], unit: str) -> str:
    return f"{plain_number(ends[0])} to {_number(ends[1], unit)}"


class _Own(NamedTuple):
    """The lanes of this car, one a phase, and the rows of the table that say the same."""

    lanes: list[Lane]
    rows: list[tuple[str, str]]


def _own(row: Strip, words: Vocabulary) -> _Own:
    lanes = []
    said = [(spot, _spot_said(spot, row.unit)) for spot in row.spots]
    for phase, label in _OWN:
        pairs = [pair for pair in said if pair[0].phase is phase]
        if pairs:
            spots = [spot for spot, _ in pairs]
            lanes.append(Lane(label, _spots_said(pairs), shape=phase, spots=spots))
    rows = [(_own_name(spot, words), amount(text, row.unit)) for spot, text in said]
    return _Own(lanes, rows)


def _spots_said(pairs: Sequence[tuple[Spot, str]]) -> str:
    if len(pairs) > _MOST_SAID:
        numbers = [spot.value for spot, _ in pairs]
        return f"{len(pairs)} values, {plain_number(min(numbers))} to {plain_number(max(numbers))}"
    places = {spot.position for spot, _ in pairs}
    if len(places) == 1:
        values = ", ".join([said for _, said in pairs])
        return " ".join(filter(None, (*places, values)))
    return ", ".join([" ".join(filter(None, (spot.position, said))) for spot, said in pairs])


def _spot_said(spot: Spot, unit: str) -> str:
    if spot.unit == unit:
        return spot.said
    sign = {"over": "over ", "under": "under "}.get(spot.bound or "", "")
    return sign + plain_number(spot.value)


def _own_name(spot: Spot, words: Vocabulary) -> str:
    place = f", {spot.position}" if spot.position else ""
    return f"This car{place}, {when_words(spot.phase, spot.state, words)}"


def _beside(row: CauseValues, unit: str, words: Vocabulary) -> tuple[Lane, str]:
    """Return the lane of a cause, and what the table says of it."""
    name = f"{_cases(row.count)}: {words.cause_name(row.cause)}"
    if row.values:
        values = [plain_number(value) for value in row.values]
        short = f"{values[0]} to {values[-1]}" if len(values) > _MOST_SAID else ", ".join(values)
        return Lane(name, short, values=row.values), amount(", ".join(values), unit)
    low, high = plain_number(row.low), plain_number(row.high)
    middle, half = amount(plain_number(row.middle), unit), amount(f"{low} to {high}", unit)
    lane = Lane(name, f"half {low} to {high}", half=(row.low, row.middle, row.high))
    return lane, f"middle {middle}, middle half {half}"


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
