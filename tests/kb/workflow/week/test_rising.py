import json
from dataclasses import replace
from datetime import timedelta

import pytest

from kb.case.shop_rows import ShopWords
from kb.workflow.week.rising import rising
from kb.workflow.week.rows import Level
from tests.kb.workflow.week.a_shop import FAN, WEEK, WORDS, AShop


def a_rise(shop, count=10, weeks=range(4), **changes):
    """Add fans that fail in the newest weeks, each another model and day."""
    for at in range(count):
        shop.job(weeks[at % len(weeks)], day=at % 5, **({"model": f"Rise {at}"} | changes))
    return shop


def rows_of(shop, **known):
    return list(rising(shop.seen(**known)))


def causes(shop, **known):
    return {row.subject[0]: row for row in rows_of(shop, **known) if row.kind == "rising_cause"}


def pairs(shop):
    return [row for row in rows_of(shop) if row.kind == "rising_pair"]


@pytest.fixture
def shop():
    """Return a shop of a year and a half in which nothing changes, with a fan now and then."""
    made = AShop().fill(80)
    for ago in range(9, 80, 12):
        made.job(ago, model=f"Old {ago}")
    return made


def test_a_cause_that_comes_more_often_is_an_alert_with_its_numbers(shop):
    row = causes(a_rise(shop, weeks=range(1)))[FAN]
    numbers = row.numbers
    assert row.level is Level.ACT
    assert (numbers["recent"], numbers["vehicles"], numbers["flag"]) == (10, 10, "alert")
    assert numbers["low"] < numbers["ratio"] < numbers["high"]
    assert numbers["recent"] == pytest.approx(numbers["ratio"] * numbers["expected"])
    assert numbers["low"] > 1
    assert numbers["p"] < 0.001
    assert numbers["season"] is not None
    assert len(row.cases) == 10
    weeks = numbers["weeks"]
    assert len(weeks) == 26
    assert weeks[-1]["week"] == str(WEEK)
    assert sum(week["count"] for week in weeks[-8:]) == 10
    assert sum(week["expected"] for week in weeks[-8:]) == pytest.approx(numbers["expected"])
    assert all(week["upper"] >= week["expected"] for week in weeks)
    json.dumps(row.as_json(), allow_nan=False)


def test_nothing_rises_in_a_shop_where_nothing_changes(shop):
    assert rows_of(shop) == []
    assert rows_of(AShop()) == []


def test_a_rise_is_news_once_and_then_known_since_its_week(shop):
    a_rise(shop, 12, weeks=range(6))
    levels, since = [], set()
    for ago in range(5, -1, -1):
        row = causes(shop, week=WEEK.shifted(-ago)).get(FAN)
        levels.append(row.level if row else None)
        since |= {row.numbers["since"]} if row else set()
    first = next(at for at, level in enumerate(levels) if level)
    assert levels[-1] is Level.KNOW
    assert since == {str(WEEK.shifted(first - 5))}
    assert levels.count(Level.ACT) <= 1


def test_of_a_past_week_nothing_later_is_seen(shop):
    then = WEEK.shifted(-4)
    before = rows_of(shop, week=then)
    assert rows_of(a_rise(shop), week=then) == before == []


def test_a_fleet_that_brings_eight_vans_on_two_days_raises_nothing(shop):
    for at in range(8):
        came = WEEK.monday + timedelta(days=at % 2)
        shop.job(0, day=2 + at % 3, opened=came, model="Carrier", vin=f"V{at}")
    assert rows_of(shop) == []


def test_one_car_that_comes_again_and_again_raises_nothing(shop):
    assert causes(a_rise(shop, 10, model="Carrier", vin="V1")) == {}


def test_repairs_that_came_back_with_the_same_cause_are_no_new_ones(shop):
    jobs = [shop.job(12, day=at, model=f"Back {at}") for at in range(6)]
    for at, job in enumerate(jobs):
        shop.comeback(job, 60 + 3 * at, FAN, model=f"Back {at}")
    assert causes(shop) == {}
    for at, job in enumerate(jobs):
        shop.comeback(job, 70 + at, "thermostat_shut", model=f"Back {at}")
    assert set(causes(shop)) == {"thermostat_shut"}


def test_a_new_technician_who_records_more_raises_nothing(shop):
    for ago in range(8):
        for at in range(24):
            shop.job(ago, shop.rows[at].cause, day=at % 5)
    for ago in (1, 4, 7):
        shop.job(ago, model=f"Own {ago}")
    assert rows_of(shop) == []


def test_weeks_of_holidays_before_raise_nothing():
    shop = AShop()
    for ago in range(80):
        away = 8 <= ago < 30 and ago % 2
        for at in range(0 if away else 12):
            shop.job(ago, (FAN, "purge_stuck_open", "thermostat_open")[at % 3], day=at % 5)
    assert rows_of(shop) == []


def a_summer_shop(years, swing=True):
    """Return a shop whose fans fail in the weeks before the anniversary of the week."""
    shop = AShop().fill(52 * years, each=9)
    for ago in range(52 * years):
        near = min(ago % 52, 52 - ago % 52)
        for at in range(max(0, 4 - near // 3) if swing else 0):
            shop.job(ago, day=at, model=f"S{ago} {at}")
    return shop


def test_a_season_that_is_known_raises_less_than_one_that_is_not():
    known = causes(a_summer_shop(3)).get(FAN)
    unknown = causes(a_summer_shop(1))[FAN]
    assert unknown.numbers["season"] is None
    assert unknown.numbers["season_factor"] is None
    assert known is None or known.numbers["ratio"] < unknown.numbers["ratio"]


def test_a_known_season_is_told_beside_a_rise_on_top_of_it():
    row = causes(a_rise(a_summer_shop(3), 40, weeks=range(8)))[FAN]
    assert row.numbers["season"] is True
    assert row.numbers["season_factor"] > 1.1


def test_a_cause_under_a_new_name_is_no_rise():
    other = "condenser_fouled"
    merged = ShopWords(merged={("cause", FAN): other})
    words = replace(WORDS, shop=merged)
    shop = AShop().fill(80)
    for ago in range(80):
        name = FAN if ago >= 8 else other
        shop.job(ago, name, model=f"R{ago}")
    assert other in causes(shop)
    assert causes(shop, words=words) == {}


def test_a_young_shop_cannot_tell():
    assert rows_of(a_rise(AShop().fill(20))) == []


def test_one_model_that_carries_a_rise_is_named_in_both_rows(shop):
    for at in range(7):
        shop.job(0, day=at, model="Packhorse", vin=f"V{at}")
    (pair,) = pairs(shop)
    assert pair.subject == (FAN, "dunmarrow", "packhorse", "2.0")
    assert (pair.numbers["make"], pair.numbers["model"]) == ("Dunmarrow", "Packhorse")
    assert pair.level is Level.ACT
    carrier = causes(shop)[FAN].numbers["carried_by"]
    assert (carrier["model"], carrier["vehicles"]) == ("Packhorse", 7)


def test_a_rise_of_many_models_is_carried_by_none(shop):
    a_rise(shop)
    assert pairs(shop) == []
    assert causes(shop)[FAN].numbers["carried_by"] is None
