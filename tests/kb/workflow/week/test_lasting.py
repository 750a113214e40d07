import json

import pytest

from kb.workflow.week.lasting import lasting
from kb.workflow.week.repairs import repairs_of
from kb.workflow.week.rows import Level
from tests.kb.workflow.week.a_shop import FAN, WEEK, AShop


def rows_of(shop, **known):
    seen = shop.seen(**known)
    return list(lasting(seen, repairs_of(seen)))


def repaired(shop, count, failing=0, **changes):
    for at in range(count):
        job = shop.job(20, day=at % 6, **changes)
        if at < failing:
            shop.comeback(job, 10 + at, FAN, end="not_fixed")
    return shop


def test_a_curve_is_told_of_the_shop_and_of_systems_with_enough_repairs():
    shop = repaired(AShop(), 40, 4)
    repaired(shop, 20, cause="wheel_bearing")
    whole, hvac = rows_of(shop)
    assert (whole.subject, hvac.subject) == ((), ("hvac",))
    assert (hvac.numbers["repairs"], hvac.numbers["failures"]) == (40, 4)
    assert hvac.numbers["times"] == [10, 11, 12, 13]
    assert hvac.numbers["at_risk"] == [40, 39, 38, 37]
    assert hvac.numbers["survival"][-1] == pytest.approx(0.9)
    told = hvac.numbers["held"]
    assert told["share"] == pytest.approx(0.9)
    assert told["low"] < told["share"] < told["high"]
    assert whole.numbers["held"]["share"] == pytest.approx(56 / 60)
    json.dumps(whole.as_json(), allow_nan=False)


def test_repairs_of_yesterday_do_not_pass_for_repairs_that_hold():
    shop = repaired(AShop(), 40, 8)
    for at in range(200):
        shop.job(0, day=at % 6)
    (row, _) = rows_of(shop)
    assert row.numbers["held"]["share"] == pytest.approx(0.8, abs=0.01)
    assert row.numbers["held"]["at_risk"] == 32


def test_few_repairs_have_no_curve():
    assert rows_of(repaired(AShop(), 29, 3)) == []
    assert rows_of(AShop()) == []


def test_the_curve_ends_where_fewer_than_five_are_followed():
    shop = repaired(AShop(), 40)
    for at in range(6):
        job = shop.job(50, vin=f"V{at}")
        shop.job(50 - 6 * (at + 3), "wheel_bearing", vin=f"V{at}")
        shop.job(50 - 6 * (at + 3) + 1, FAN, vin=f"V{at}", comeback_of=job)
    numbers = rows_of(shop)[0].numbers
    assert min(numbers["at_risk"]) >= 5
    assert numbers["failures"] > len(numbers["times"])


def test_one_way_of_mending_that_holds_better_is_worth_a_look():
    shop = repaired(AShop(), 20, 12, fix="cleaned")
    repaired(shop, 20, 1)
    (row,) = (row for row in rows_of(shop) if row.subject[:1] == ("fix",))
    assert row.subject == ("fix", FAN, "cleaned", "replaced")
    assert row.level is Level.LOOK
    told = [(each["fix"], each["count"], each["of"]) for each in row.numbers["fixes"]]
    assert told == [("cleaned", 12, 20), ("replaced", 1, 20)]
    assert len(row.cases) == 13
    json.dumps(row.as_json(), allow_nan=False)


def test_with_fewer_than_ten_each_it_is_too_few_to_tell():
    shop = repaired(repaired(AShop(), 9, 8, fix="cleaned"), 30)
    whole = rows_of(shop)[0]
    assert whole.numbers["fixes_too_few"] == 1
    assert not [row for row in rows_of(shop) if row.subject[:1] == ("fix",)]


def test_ways_that_hold_alike_and_repairs_too_young_are_not_told():
    shop = repaired(repaired(AShop(), 20, 3, fix="cleaned"), 20, 2)
    assert not [row for row in rows_of(shop) if row.subject[:1] == ("fix",)]
    young = repaired(repaired(AShop(), 20, 12, fix="cleaned"), 20)
    then = rows_of(young, week=WEEK.shifted(-12))
    assert not [row for row in then if row.subject[:1] == ("fix",)]
