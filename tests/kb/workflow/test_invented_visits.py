from datetime import date
from random import Random

import pytest

from kb.case.iso_week import IsoWeek
from kb.case.model import Vehicle
from kb.case.terms import load_vocabulary
from kb.store.migrate import bundled
from kb.workflow.invented_plan import read_plan
from kb.workflow.invented_rates import Rates
from kb.workflow.invented_visits import Planted, Visit, ordinary
from tests.factories import a_case

WORDS = load_vocabulary()
PLAN = read_plan(bundled("seed_cases"), WORDS)
WEEK = IsoWeek(date(2026, 10, 12))


@pytest.fixture(scope="module")
def rates():
    return Rates(PLAN, WORDS)


def test_ordinary_cars_come_from_monday_to_friday_some_of_them_again(rates):
    known = [a_case("V1", vehicle=Vehicle(model="Tern", engine="A16P"))]
    visits = list(ordinary(Random(1), rates, week=WEEK, per_week=400, known=known, part=0.5))
    assert 320 < len(visits) < 480
    assert {visit.opened.weekday() for visit in visits} == set(range(5))
    again = [visit for visit in visits if visit.vehicle]
    assert 100 < len(again) < 240
    assert all((visit.vehicle is None) != (visit.platform is None) for visit in visits)
    assert all(rates.suits(visit.cause, "A16P") for visit in again)


def test_what_is_planted_does_not_hang_on_what_else_is_made(rates):
    first, second = Planted(PLAN, rates, 1), Planted(PLAN, rates, 1)
    list(first.of(30, WEEK))
    assert list(first.of(3, WEEK)) == list(second.of(3, WEEK))


def test_the_fleet_comes_in_its_week_alone(rates):
    planted, row = Planted(PLAN, rates, 1), PLAN.tables["fleet"]
    counts = [
        sum(visit.cause == row["cause"] for visit in planted.of(back, WEEK)) for back in range(12)
    ]
    assert counts == [row["vans"] if back == row["week"] else 0 for back in range(12)]


def test_a_bad_part_is_fitted_in_its_weeks_alone(rates):
    planted, row = Planted(PLAN, rates, 1), PLAN.tables["lot"]
    first, last = row["weeks"]

    def fitted(back, cause):
        visits = [Visit(opened=WEEK.monday, cause=cause, likeness=at) for at in range(200)]
        return sum(planted.lot(back, visit).fitted is not None for visit in visits)

    assert 100 < fitted(last, row["cause"]) < 180
    assert 100 < fitted(first, row["cause"]) < 180
    assert fitted(last - 1, row["cause"]) == fitted(first + 1, row["cause"]) == 0
    assert fitted(first, "wheel_bearing") == 0
