from collections import Counter
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from kb.case.casefile import read_case, write_case
from kb.case.iso_week import IsoWeek
from kb.case.model import FixKind, JobState, Origin
from kb.case.terms import load_vocabulary
from kb.store.migrate import bundled
from kb.workflow.invented import add_jobs, make_jobs
from kb.workflow.invented_plan import read_plan

WORDS = load_vocabulary()
TODAY = date(2026, 11, 25)
LAST = IsoWeek(date(2026, 11, 16))
PLAN = read_plan(bundled("seed_cases"), WORDS)
PLANTED = PLAN.tables


def made(today=TODAY, **known):
    return tuple(make_jobs(today, WORDS, folder=bundled("seed_cases"), **known))


def back(day):
    """Return how many weeks a day lies before the last week."""
    return LAST.since(IsoWeek.of(day))


def of_cause(jobs, row):
    """Return the jobs of a planted row's cause on its platform."""
    return [
        job
        for job in jobs
        if job.cause == row["cause"]
        and (job.vehicle.make, job.vehicle.model, job.vehicle.engine)
        == (row["make"], row["model"], row["engine"])
    ]


@pytest.fixture(scope="module")
def jobs(two_years):
    return tuple(row.job for row in two_years)


# --- what kind of jobs they are ------------------------------------------------------------------


def test_the_same_seed_makes_the_same_jobs_and_another_seed_makes_others():
    first, again, other = made(years=0.2), made(years=0.2), made(years=0.2, seed=7)
    assert first == again
    assert [row.job.vehicle for row in first] != [row.job.vehicle for row in other]


def test_any_day_of_a_week_makes_the_same_jobs():
    monday, sunday = made(date(2026, 11, 23), years=0.1), made(date(2026, 11, 29), years=0.1)
    assert monday == sunday


def test_every_job_says_that_it_is_invented_and_has_a_number_of_its_own(jobs):
    assert {job.origin for job in jobs} == {Origin.INVENTED}
    assert {job.body for job in jobs} == {PLAN.mark}
    assert "Invented" in PLAN.mark
    assert len({job.id for job in jobs}) == len(jobs)
    assert all(job.id.startswith("V") for job in jobs)


def test_the_jobs_end_with_the_last_whole_week_and_go_back_two_years(jobs):
    assert min(job.opened for job in jobs) >= LAST.shifted(-103).monday
    assert {back(job.opened) for job in jobs} == set(range(104))
    assert max(job.closing.closed for job in jobs if job.closing) == LAST.sunday - timedelta(days=1)


def test_a_week_has_about_forty_five_jobs_and_one_with_holidays_few(jobs):
    weeks = Counter(IsoWeek.of(job.opened) for job in jobs)
    closed = {52, 1, 31, 32}
    ordinary = [n for week, n in weeks.items() if week.monday.isocalendar().week not in closed]
    festive = [n for week, n in weeks.items() if week.monday.isocalendar().week in {52, 1}]
    assert 43 <= sum(ordinary) / len(ordinary) <= 53
    assert min(ordinary) > 20
    assert max(festive) < 25


def test_most_causes_of_the_catalogue_come_and_a_few_of_them_often(jobs):
    counts = Counter(job.cause for job in jobs if job.cause)
    assert len(counts) >= 190
    assert set(counts) <= set(WORDS.causes)
    common = sum(count for _, count in counts.most_common(20)) / sum(counts.values())
    assert 0.25 <= common <= 0.6


def test_jobs_end_in_every_way_that_a_shop_knows(jobs):
    ends = Counter(job.closing.end for job in jobs if job.closing)
    assert set(ends) == set(WORDS.job_ends)
    without = sum(job.closing is not None and job.cause is None for job in jobs)
    assert 0.25 <= without / len(jobs) <= 0.45
    assert 2 <= sum(job.state is not JobState.CLOSED for job in jobs) <= 15


def test_a_job_is_a_sound_record_that_its_case_file_gives_back(jobs):
    for job in jobs[::12]:
        assert read_case(write_case(job), words=WORDS) == job


def test_vehicles_and_suppliers_are_those_of_the_invented_world(jobs):
    makes = {job.vehicle.make for job in jobs}
    assert makes == {
        "Aldenroe", "Dunmarrow", "Garrowick", "Pellarin", "Tarnholt", "Wrenlock", "Yarrowby",
        "Osmeray",
    }  # fmt: skip
    named = {part.supplier for job in jobs if job.closing for part in job.closing.parts}
    assert named == {name for name, _ in PLAN.suppliers} | {None}


def test_a_vehicle_has_only_causes_that_it_can_have(jobs):
    for job in jobs:
        if job.cause and job.vehicle.engine[-1] == "E":
            assert WORDS.causes[job.cause].system not in {"engine_performance", "emissions"}
        if job.cause == "glow_plug_dead":
            assert job.vehicle.engine[-1] == "D"


def test_a_car_that_comes_back_is_the_same_and_comes_later(jobs):
    by_id = {job.id: job for job in jobs}
    comebacks = [job for job in jobs if job.comeback_of]
    assert 100 <= len(comebacks) <= 500
    for job in comebacks:
        first = by_id[job.comeback_of]
        assert first.vehicle == job.vehicle
        assert first.closing is not None
        assert first.closing.closed < job.opened


def test_a_first_cause_that_was_wrong_is_overturned_by_what_came_back(jobs):
    by_id = {job.id: job for job in jobs}
    overturned = [job for job in jobs if job.closing and job.closing.overturned_by]
    assert len(overturned) > 20
    for job in overturned:
        later = by_id[job.closing.overturned_by]
        assert later.comeback_of == job.id
        assert later.closing.end == "comeback_other"
        assert later.cause != job.cause
        assert not job.closing.held


def test_a_repair_held_where_its_period_passed_and_nothing_came_back(jobs):
    back_from = {job.comeback_of for job in jobs}
    held = [job for job in jobs if job.closing and job.closing.held]
    assert len(held) > 1_000
    for job in held:
        assert job.id not in back_from
        assert (LAST.sunday - job.closing.closed).days > 90


def test_a_work_around_has_a_day_and_never_leaves_brakes_or_steering_undone(jobs):
    around = [job for job in jobs if job.closing and job.closing.end == "workaround"]
    assert around
    assert all(job.closing.until > job.closing.closed for job in around)
    assert not {job.system for job in around} & {"brakes", "steering_suspension", "restraints"}


def test_some_declined_what_keeps_the_car_safe_and_that_is_written_out(jobs):
    declined = [job for job in jobs if job.closing and job.closing.end == "declined"]
    unsafe = [job for job in declined if job.system == "brakes"]
    assert unsafe
    for job in unsafe:
        assert any("Safety repair declined" in row.risk for row in job.closing.options)


# --- what is planted -----------------------------------------------------------------------------


def test_one_cause_rises_on_one_platform_from_its_week_on(jobs):
    row = PLANTED["rising"]
    weeks = Counter(back(job.opened) for job in of_cause(jobs, row))
    after = sum(count for week, count in weeks.items() if week < row["week"])
    before = sum(count for week, count in weeks.items() if week >= row["week"])
    assert 1.0 <= after / row["week"] <= 2.2
    assert 0.2 <= before / (104 - row["week"]) <= 0.6


def test_parts_of_one_lot_fail_again_far_more_often_than_the_same_part_of_others(jobs):
    row = PLANTED["lot"]
    failed = {job.comeback_of for job in jobs if job.cause == row["cause"]}
    fitted: dict[bool, list[bool]] = {True: [], False: []}
    for job in jobs:
        if job.cause == row["cause"] and job.closing.parts:
            fitted[job.closing.parts[0].lot == row["lot"]].append(job.id in failed)
    shares = {bad: sum(rows) / len(rows) for bad, rows in fitted.items()}
    assert len(fitted[True]) >= 8
    assert shares[True] > 0.4
    assert shares[False] < 0.15


def test_air_conditioning_comes_in_summer_and_starting_in_winter(jobs):
    def of(system, months):
        return sum(job.system == system and job.opened.month in months for job in jobs)

    summer, winter = {6, 7, 8}, {12, 1, 2}
    assert of("hvac", summer) > 2 * of("hvac", winter)
    assert of("starting_charging", winter) > 1.8 * of("starting_charging", summer)


def test_the_new_technician_records_half_as_many_cases_more_than_the_others(two_years):
    (new,) = [row for row in PLAN.technicians if row.since]
    recent = [row for row in two_years if row.job.closing and back(row.job.opened) < new.since]
    cases: dict[bool, list[bool]] = {True: [], False: []}
    for row in recent:
        cases[row.technician == new.name].append(row.job.is_case)
    shares = {his: sum(rows) / len(rows) for his, rows in cases.items()}
    assert 1.3 <= shares[True] / shares[False] <= 1.8
    before = [row for row in two_years if back(row.job.opened) >= new.since]
    assert new.name not in {row.technician for row in before}


def test_the_vans_of_a_fleet_come_within_two_days(jobs):
    row = PLANTED["fleet"]
    vans = [job for job in of_cause(jobs, row) if back(job.opened) == row["week"]]
    assert len(vans) >= row["vans"]
    assert len({job.opened for job in vans}) == 2
    assert len({job.vehicle.vin for job in vans}) == len(vans)


def test_five_recent_jobs_are_alike_and_nobody_agrees_what_they_are(jobs):
    row = PLANTED["cluster"]
    alike = [job for job in jobs if job.complaint.said in row["said"]]
    assert len(alike) == 5
    assert Counter(job.cause for job in alike) == Counter(key or None for key in row["causes"])
    assert {len(job.reading_sets[0].readings) for job in alike} == {3}


def test_one_part_was_replaced_in_vain_where_another_cause_was_proven(jobs):
    row = PLANTED["money"]
    vain = [
        job
        for job in jobs
        if job.cause == row["cause"] and any(part.part == row["part"] for part in job.tried)
    ]
    assert {back(job.opened) for job in vain} >= set(row["weeks"])
    assert all(part.cost_cents for job in vain for part in job.tried)


# --- in the store --------------------------------------------------------------------------------


def test_jobs_are_stored_with_who_closed_them_and_when(shop):
    rows = made(years=0.05)
    shop.write(add_jobs, rows)
    with shop.store.read() as unit:
        assert unit.jobs.count() == len(rows)
        assert unit.jobs.witnesses() == ()
        assert unit.jobs.verify_hashes() == ()
        for row in rows:
            (line,) = unit.history.of(row.job.id)
            closing = row.job.closing
            expected = (row.technician, "close") if closing else (row.desk, "open")
            assert (line.who, line.verb) == expected
            assert line.at.date() == (closing.closed if closing else row.job.opened)
        assert unit.jobs.get(rows[0].job.id) == rows[0].job


def test_an_invented_job_sets_no_price_and_witnesses_nothing(shop):
    rows = made(years=0.05)
    shop.write(add_jobs, rows)
    cause = next(row.job.cause for row in rows if row.job.cause)
    real = replace(next(row.job for row in rows if row.job.cause == cause), id="J9")
    real = replace(real, origin=Origin.SHOP, comeback_of=None)
    with shop.store.write("Ines", datetime(2026, 11, 25, tzinfo=UTC)) as unit:
        unit.jobs.add(real, verb="import")
        assert [job.id for job in unit.jobs.of_cause(cause, most=9)] == ["J9"]
        assert [job.id for job in unit.jobs.witnesses()] == ["J9"]


def test_what_was_replaced_names_the_part_of_its_cause(jobs):
    for job in jobs:
        if job.closing and job.closing.fix is FixKind.REPLACED:
            (part,) = job.closing.parts
            assert part.part == WORDS.causes[job.cause].part.replace("_", " ")
