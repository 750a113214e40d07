import json

import pytest

from kb.workflow.week.seasons import seasons
from tests.kb.workflow.week.a_shop import WEEK, AShop


def rows_of(shop, **known):
    return list(seasons(shop.seen(**known)))


def cold(shop, ago, count, **changes):
    for at in range(count):
        known = {"model": f"B{ago} {at}", "day": at % 5} | changes
        shop.job(ago, "battery_failed", **known)


def test_a_system_that_brings_more_than_a_year_ago_is_told_out_of_100_jobs():
    shop = AShop().fill(70)
    for ago in range(13):
        cold(shop, ago, 4)
        cold(shop, ago + 52, 1)
    (row,) = (row for row in rows_of(shop) if row.subject == ("starting_charging",))
    numbers = row.numbers
    assert (numbers["recent"], numbers["before"]) == (52, 13)
    assert numbers["recent_per_100"] == pytest.approx(100 * 52 / numbers["recent_of"])
    assert numbers["ratio"] > numbers["low"] > 1
    json.dumps(row.as_json(), allow_nan=False)


def test_where_no_system_tells_anything_one_row_says_so_and_which_have_too_few():
    shop = AShop().fill(70)
    cold(shop, 3, 2)
    (row,) = rows_of(shop)
    assert row.subject == ()
    assert row.numbers["too_few"] == ["starting_charging"]
    assert len(row.numbers["systems"]) == 4
    json.dumps(row.as_json(), allow_nan=False)


def test_a_shop_that_grew_and_a_fleet_on_one_day_are_no_season():
    shop = AShop().fill(70, each=3).fill(13, each=12)
    cold(shop, 2, 30, model="Carrier", day=1)
    assert [row.subject for row in rows_of(shop)] == [()]


def test_without_the_same_weeks_of_last_year_nothing_is_said():
    assert rows_of(AShop().fill(64)) == []
    assert rows_of(AShop()) == []
    assert rows_of(AShop().fill(66), week=WEEK.shifted(-4)) == []
