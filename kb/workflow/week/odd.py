"""Readings of the week that are far from what is usual on their platform."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any, Final

from kb.case.model import Job, Phase, Reading, Standing
from kb.case.standing import standing_of
from kb.diagnosis.odd_values import OddValue, TakenReading, odd_values
from kb.workflow.week.rows import Level, WeekRow
from kb.workflow.week.seen import BEFORE, Seen

# Values of the week that are told: those that a wrong unit explains, and the farthest of all
# others (our choice).
MOST_UNITS: Final = 5
MOST_OTHER: Final = 5
# The proof that is a reading itself.
_MEASURED: Final = "measured_out"
# A reading with its job, and what names it among those taken.
_Found = tuple[OddValue, Reading]
_PHASES: Final = (Phase.BEFORE, Phase.DURING)


def odd(seen: Seen) -> Iterator[WeekRow]:
    """Yield a row for each reading of the week with a likely wrong unit, and one for all others.

    Readings as found and those during an action are each held against their like, of the recent
    jobs and of the year before them; those after a repair are not looked at.
    """
    found = [row for phase in _PHASES for row in _found(seen, phase)]
    found.sort(key=lambda row: (not row[0].outside_limits, -row[0].deviations, row[0].reading.case))
    found = list({_subject(row): row for row in reversed(found)}.values())[::-1]
    with_unit = [row for row in found if row[0].units]
    for row in with_unit[:MOST_UNITS]:
        yield _with_unit(row)
    jobs = {job.id: job for job in seen.week_jobs}
    other = [
        row
        for row in found
        if not row[0].units and not _is_proof(jobs[row[0].reading.case], row[1])
    ]
    if other:
        yield _others(other)


def _found(seen: Seen, phase: Phase) -> Iterator[_Found]:
    recent = [pair for job in seen.jobs for pair in _taken(job, phase)]
    week = {job.id for job in seen.week_jobs}
    typed = {_name(taken): reading for taken, reading in recent if taken.case in week}
    wanted = {taken.quantity for taken, _ in recent if taken.case in week}
    if not wanted:
        return
    first = seen.first_recent
    older = seen.unit.weeks.readings(
        first.shifted(-BEFORE).monday,
        first.monday - timedelta(days=1),
        phase=phase,
        quantities=wanted,
    )
    taken = [
        TakenReading(
            case=row.job,
            quantity=row.quantity,
            value=row.value,
            platform=_platform(row.make, row.model, row.engine),
            system=row.system or "",
        )
        for row in older
    ]
    taken += [row for row, _ in recent if row.quantity in wanted]
    for value in odd_values(taken, seen.words.quantities, of=week):
        yield value, typed[_name(value.reading)]


def _taken(job: Job, phase: Phase) -> Iterator[tuple[TakenReading, Reading]]:
    for group in job.reading_sets:
        for row in group.readings if group.phase is phase else ():
            # "over 5" and "open" are bounds and words, no values.
            if row.canonical is None or row.word is not None:
                continue
            yield (
                TakenReading(
                    case=job.id,
                    quantity=row.quantity,
                    value=row.canonical,
                    platform=_platform(job.vehicle.make, job.vehicle.model, job.vehicle.engine),
                    system=job.system or "",
                    unit=row.unit,
                ),
                row,
            )


def _name(row: TakenReading) -> tuple[str, str, float]:
    return row.case, row.quantity, row.value


def _platform(*parts: str | None) -> str:
    """Return make, model and engine; "" where not all are known."""
    return " ".join(part.lower() for part in parts if part) if all(parts) else ""


def _is_proof(job: Job, reading: Reading) -> bool:
    """Say whether a reading is how the cause of its job was proven."""
    if job.closing is None or standing_of(job) is not Standing.PROVEN:
        return False
    return any(
        row.method == _MEASURED or reading.typed in row.text.split() for row in job.closing.proofs
    )


def _subject(found: _Found) -> tuple[str, str, str]:
    """Return what names a reading; of several of one place, the farthest one is told."""
    value, reading = found
    return value.reading.case, reading.quantity, reading.position or ""


def _with_unit(found: _Found) -> WeekRow:
    value, reading = found
    return WeekRow(
        kind="odd_value",
        subject=_subject(found),
        level=Level.LOOK,
        strength=value.deviations,
        numbers={"values": [_numbers(value, reading)], "more": 0},
        cases=(value.reading.case,),
    )


def _others(found: list[_Found]) -> WeekRow:
    told = found[:MOST_OTHER]
    return WeekRow(
        kind="odd_value",
        level=Level.KNOW,
        strength=told[0][0].deviations,
        numbers={
            "values": [_numbers(*row) for row in told],
            "more": len(found) - len(told),
        },
        cases=tuple(dict.fromkeys(value.reading.case for value, _ in told)),
    )


def _numbers(value: OddValue, reading: Reading) -> dict[str, Any]:
    """Return what is told of a value; all numbers in the canonical unit of its quantity."""
    return {
        "job": value.reading.case,
        "quantity": reading.quantity,
        "position": reading.position,
        "typed": reading.typed,
        "unit": reading.unit,
        "value": value.reading.value,
        "outside_limits": value.outside_limits,
        "own_platform": value.own_platform,
        "held": value.held
        and {"count": value.held.count, "middle": value.held.middle, "spread": value.held.spread},
        "deviations": value.deviations,
        "meant": [
            {"recorded": row.recorded, "meant": row.meant, "value": row.value}
            for row in value.units
        ],
    }
