from datetime import date
from random import Random

import pytest

from kb.case.model import Origin, Polarity
from kb.case.terms import load_vocabulary
from kb.case.vin import LENGTH, check_digit, vin_doubt
from kb.store.migrate import bundled
from kb.workflow.invented_opening import Opening, invented_vin
from kb.workflow.invented_plan import read_plan
from kb.workflow.invented_visits import Visit

WORDS = load_vocabulary()
PLAN = read_plan(bundled("seed_cases"), WORDS)
TERN = PLAN.platforms[0]


@pytest.fixture(scope="module")
def opening():
    return Opening(PLAN, WORDS)


def written_up(opening, cause, *, seed=1, more=0):
    visit = Visit(opened=date(2026, 10, 12), cause=cause, platform=TERN)
    return opening.job(Random(seed), visit, job_id="V1", more=more)


@pytest.mark.source("49 CFR 565.15(c)", "check digit at position 9; that no maker has 0: memory")
def test_a_vin_has_a_right_check_digit_and_no_maker():
    vins = {invented_vin(Random(seed)) for seed in range(50)}
    assert len(vins) == 50
    for vin in vins:
        assert len(vin) == LENGTH
        assert vin[0] == "0"
        assert vin[8] == check_digit(vin)
        assert vin_doubt(vin) is None


def test_a_job_is_written_up_with_what_its_cause_shows(opening):
    for seed in range(30):
        job = written_up(opening, "vacuum_leak_gasket", seed=seed)
        cause = WORDS.causes["vacuum_leak_gasket"]
        shown = {row.concept for row in job.symptoms if row.polarity is Polarity.YES}
        assert job.origin is Origin.INVENTED
        assert cause.complaints[0] in shown
        assert shown <= set(cause.complaints)
        assert job.findings[-1].check in cause.prove
        for row in job.findings:
            assert row.outcome in {cause.expect[row.check], "unclear", "not_done"}
            assert (row.minutes is None) == (row.outcome == "not_done")


def test_who_writes_down_more_writes_down_more_symptoms(opening):
    def symptoms(more):
        jobs = [written_up(opening, "vacuum_leak_gasket", seed=at, more=more) for at in range(40)]
        return sum(len(job.symptoms) for job in jobs)

    assert symptoms(1) > 1.3 * symptoms(0)


def test_a_car_is_old_enough_to_have_been_driven(opening):
    for seed in range(30):
        vehicle = written_up(opening, "wheel_bearing", seed=seed).vehicle
        assert TERN.years[0] <= vehicle.year <= min(TERN.years[1], 2025)
        assert 5_000 < vehicle.odometer < 300_000
