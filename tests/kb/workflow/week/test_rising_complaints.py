import json

import pytest

from kb.workflow.week.rising_complaints import rising_complaints
from kb.workflow.week.rows import Level
from tests.kb.workflow.week.a_shop import WEEK, WORDS, AShop

WARM = "ac_not_cold"
OTHER = next(key for key, row in WORDS.symptoms.items() if row.system == "brakes")


def rows_of(shop, **known):
    return list(rising_complaints(shop.seen(**known)))


@pytest.fixture
def shop():
    """Return a shop of 70 weeks: two jobs a week on the Packhorse, few with warm air."""
    made = AShop().fill(70, each=9, symptoms=(OTHER,))
    for ago in range(70):
        for day in range(4):
            made.job(ago, "service_valve_leak", day=day, symptoms=(OTHER,))
        for day in (0, 3):
            symptoms = (WARM,) if (ago, day) in {(20, 0), (45, 3)} else ()
            made.job(ago, "wheel_bearing", day=day, model="Packhorse", symptoms=symptoms)
    return made


def warm(shop, count, ago=0, **changes):
    for at in range(count):
        known = {"model": "Packhorse", "vin": f"V{at}", "day": at % 7} | changes
        shop.job(ago, "low_charge_leak_hose", symptoms=(WARM,), **known)
    return shop


def test_a_complaint_that_rises_on_one_model_is_told_job_for_job(shop):
    (row,) = rows_of(warm(shop, 7))
    numbers = row.numbers
    assert row.subject == (WARM, "dunmarrow", "packhorse", "2.0")
    assert row.level is Level.ACT
    assert (numbers["recent"], numbers["vehicles"], numbers["recent_jobs"]) == (7, 7, 23)
    assert (numbers["before"], numbers["before_jobs"]) == (2, 104)
    assert numbers["ratio"] > numbers["low"] > 1
    assert numbers["elsewhere"]["recent"] == numbers["elsewhere"]["before"] == 0
    assert numbers["elsewhere"]["recent_jobs"] == 104
    assert sum(week["count"] for week in numbers["weeks"]) == 8
    assert len(row.cases) == 7
    json.dumps(row.as_json(), allow_nan=False)


def test_nothing_is_told_where_nothing_changes(shop):
    assert rows_of(shop) == []
    assert rows_of(AShop()) == []


def test_more_cars_of_a_model_are_no_rise_of_its_complaints(shop):
    for at in range(40):
        symptoms = (WARM,) if at < 3 else ()
        shop.job(at % 8, "wheel_bearing", day=at % 6, model="Packhorse", symptoms=symptoms)
    assert rows_of(shop) == []


@pytest.mark.parametrize("alike", [{"day": 2}, {"vin": "V1"}])
def test_a_batch_of_a_day_or_the_same_car_again_is_no_rise(shop, alike):
    assert rows_of(warm(shop, 7, **alike)) == []


def test_cars_that_came_back_are_no_new_complaints(shop):
    job = shop.rows[0].id
    assert rows_of(warm(shop, 7, comeback_of=job)) == []


def test_a_rise_that_lasts_is_known_since_its_week(shop):
    (row,) = rows_of(warm(warm(shop, 7, ago=2), 2))
    assert row.level is Level.KNOW
    assert row.numbers["since"] == str(WEEK.shifted(-2))


def test_of_a_past_week_nothing_later_is_seen(shop):
    assert rows_of(warm(shop, 7), week=WEEK.shifted(-1)) == []


@pytest.mark.parametrize(("years", "told"), [((2019,), 2019), ((2012, 2014, 2016), None)])
def test_a_year_of_make_is_named_where_it_stands_out(shop, years, told):
    for at in range(7):
        warm(shop, 1, day=at, vin=f"Y{at}", year=years[at % len(years)])
    (row,) = rows_of(shop)
    assert row.numbers["year"] == told


def test_a_season_is_reckoned_with_where_it_is_known():
    told = {}
    for years in (1, 3):
        shop = AShop().fill(52 * years, each=9)
        for ago in range(52 * years):
            near = min(ago % 52, 52 - ago % 52)
            for day in range(max(0, 5 - near // 3)):
                shop.job(ago, "low_charge_leak_hose", day=day, model=f"M{day}", symptoms=(WARM,))
            for day in range(2):
                symptoms = (WARM,) if near < 9 else ()
                shop.job(ago, "wheel_bearing", day=day, model="Packhorse", symptoms=symptoms)
        told[years] = [row for row in rows_of(shop) if row.subject[2] == "packhorse"]
    assert [row.numbers["season_factor"] for row in told[1]] == [None]
    assert told[3] == []
