"""Recent jobs held against each other: alike without a name, written twice, same readings."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from kb.case.meant_now import as_meant_now
from kb.case.model import Job, Vehicle
from kb.case.standing import standing_of
from kb.diagnosis.twins import SameReadings, WrittenTwice, same_readings, written_twice
from kb.retrieval.features import case_features
from kb.retrieval.pairwise import Likeness, Recent, compare_all
from kb.workflow.week.no_name import no_name
from kb.workflow.week.odd import odd
from kb.workflow.week.rows import Level, WeekRow
from kb.workflow.week.seen import Seen

# Jobs that are compared, the newest ones: the time grows with the square of their number (our
# choice: below a second on one core, and 8 weeks of a shop with 50 jobs a week).
MOST_COMPARED: Final = 400
# Pairs of a kind, the surest ones (our choice).
MOST_PAIRS: Final = 5
# Pairs with the same readings that luck alone would make in a review, at most: one review in twenty
# has one by luck (our choice).
PAIRS_BY_LUCK: Final = 0.05
# Reasons of a pair that are told (our choice).
_REASONS: Final = 4
# Distance between two readings of one car's odometer on two days in a row, in its unit (our choice:
# a road test and the way home; a car driven further is taken for another one).
_ONE_CAR: Final = 200.0


def likeness(seen: Seen) -> Iterator[WeekRow]:
    """Yield the rows of this topic."""
    jobs = compared(seen)
    known = _vehicles(seen, jobs)
    alike = compare_all([_recent(job, seen, vehicle=known[job.id]) for job in jobs])
    yield from no_name(seen, alike)
    yield from _twins(alike, {job.id: job for job in jobs})
    yield from _same_readings(alike)
    yield from odd(seen)


def compared(seen: Seen) -> tuple[Job, ...]:
    """Return the newest recent jobs, closed and open, oldest first."""
    jobs = [*seen.jobs, *_open(seen)]
    return tuple(sorted(jobs, key=lambda job: (job.opened, job.id))[-MOST_COMPARED:])


def _open(seen: Seen) -> list[Job]:
    """Return the jobs that came in lately and were open at the end of the week.

    One that was closed since counts without what its closing says; its findings are all there.
    """
    lines = seen.unit.week_records.open_lines(seen.week.sunday)
    lately = [row.id for row in lines if row.opened >= seen.first_recent.monday]
    jobs = seen.unit.jobs.some(lately)
    return [as_meant_now(replace(job, closing=None), seen.words) for job in jobs]


def _recent(job: Job, seen: Seen, *, vehicle: str) -> Recent:
    made = case_features(job, seen.words, altitude_m=seen.altitude_m)
    return Recent(
        features=replace(made, standing=str(standing_of(job))), day=job.opened, vehicle=vehicle
    )


def _vehicles(seen: Seen, jobs: Sequence[Job]) -> dict[str, str]:
    """Return what names the car of each job: its VIN, else the first job of its chain of comebacks.

    "" where there is neither: it may be any car.
    """
    named = {
        job.id: job.vehicle.vin or seen.vehicles.get(job.comeback_of or job.id, job.comeback_of)
        for job in jobs
    }
    first = {named[job.id] for job in jobs if job.comeback_of}
    return {
        job: name if name and (name != job or job in first) else "" for job, name in named.items()
    }


# --- one job written twice ------------------------------------------------------------------------


def _twins(alike: Likeness, jobs: Mapping[str, Job]) -> Iterator[WeekRow]:
    pairs = [
        pair for pair in written_twice(alike) if _may_be_one(jobs[pair.first], jobs[pair.second])
    ]
    for pair in pairs[:MOST_PAIRS]:
        yield _twin(pair)


def _may_be_one(first: Job, second: Job) -> bool:
    """Say whether nothing written down speaks against one car on one visit."""
    if first.id == second.comeback_of or second.id == first.comeback_of:
        return False
    return not (_differ(first.vehicle, second.vehicle) or _far(first.vehicle, second.vehicle))


def _differ(first: Vehicle, second: Vehicle) -> bool:
    pairs = [
        (str(getattr(first, name) or "").lower(), str(getattr(second, name) or "").lower())
        for name in ("vin", "year", "make", "model", "engine")
    ]
    return any(one and other and one != other for one, other in pairs)


def _far(first: Vehicle, second: Vehicle) -> bool:
    if first.odometer is None or second.odometer is None:
        return False
    same_unit = first.odometer_unit == second.odometer_unit
    return same_unit and abs(first.odometer - second.odometer) > _ONE_CAR


def _twin(pair: WrittenTwice) -> WeekRow:
    return WeekRow(
        kind="twin",
        subject=(pair.first, pair.second),
        level=Level.LOOK if pair.same_vehicle else Level.KNOW,
        strength=pair.share,
        numbers={
            "first": pair.first,
            "second": pair.second,
            "same_vehicle": pair.same_vehicle,
            "days_apart": pair.days_apart,
            "share": pair.share,
            "reasons": [row.what for row in pair.reasons[:_REASONS] if row.weight > 0],
        },
        cases=(pair.first, pair.second),
    )


# --- same readings, another cause -----------------------------------------------------------------


def _same_readings(alike: Likeness) -> Iterator[WeekRow]:
    pairs = [pair for pair in same_readings(alike) if pair.by_luck <= PAIRS_BY_LUCK]
    for pair in pairs[:MOST_PAIRS]:
        yield WeekRow(
            kind="same_readings",
            subject=(pair.first, pair.second),
            level=Level.LOOK,
            # Fewer by luck comes first.
            strength=-pair.by_luck,
            numbers=_pair_numbers(pair),
            cases=(pair.first, pair.second),
        )


def _pair_numbers(pair: SameReadings) -> dict[str, Any]:
    cases: Sequence[str] = (pair.first, pair.second)
    return {
        "jobs": [
            {"job": job, "cause": cause} for job, cause in zip(cases, pair.causes, strict=True)
        ],
        "readings": list(pair.readings),
        "by_luck": pair.by_luck,
    }
