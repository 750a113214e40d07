import json

import pytest

from kb.diagnosis.rates import exact_interval
from kb.workflow.week.failed_parts import failed_parts
from kb.workflow.week.repairs import repairs_of
from kb.workflow.week.rows import Level
from tests.kb.workflow.week.a_shop import FAN, WEEK, AShop, a_part


def rows_of(shop, **known):
    seen = shop.seen(**known)
    return list(failed_parts(seen, repairs_of(seen)))


def fitted(shop, count, failing=0, *, days=40, ago=30, part=None):
    """Add repairs that fitted a part; the first ones fail again after so many days and more."""
    for at in range(count):
        job = shop.job(ago, day=at % 6, parts=(part or a_part(),))
        if at < failing:
            shop.comeback(job, days + at, FAN)
    return shop


@pytest.fixture
def shop():
    """Return a shop whose other supplier's fans hold."""
    return fitted(AShop(), 40, 1, part=a_part(supplier="Hillfoot"))


def test_a_supplier_whose_parts_fail_more_than_others_is_for_a_decision(shop):
    (row,) = rows_of(fitted(shop, 12, 6, ago=7))
    numbers = row.numbers
    assert row.subject == ("condenser fan", "northgate", "")
    assert row.level is Level.ACT
    assert (numbers["count"], numbers["of"]) == (6, 12)
    assert (numbers["low"], numbers["high"]) == exact_interval(6, 12)
    assert numbers["others"] == {"count": 1, "of": 40}
    assert numbers["median_days"] == 42.5
    assert numbers["shape"] is not None
    assert len(row.cases) == 6
    json.dumps(row.as_json(), allow_nan=False)


def test_too_few_failures_or_parts_are_not_worth_a_word(shop):
    assert rows_of(fitted(shop, 12, 2)) == []
    assert rows_of(fitted(AShop(), 4, 4)) == []
    assert rows_of(AShop()) == []


def test_as_many_failures_as_others_have_are_not_worth_a_word():
    shop = fitted(AShop(), 40, 10, part=a_part(supplier="Hillfoot"))
    assert rows_of(fitted(shop, 12, 3)) == []


def test_without_another_supplier_a_failing_part_is_good_to_know():
    (row,) = rows_of(fitted(AShop(), 6, 3))
    assert (row.level, row.numbers["p"], row.numbers["shape"]) == (Level.KNOW, None, None)


def test_one_bad_lot_is_told_in_place_of_its_supplier(shop):
    fitted(shop, 20, 0, part=a_part(lot="2540"))
    fitted(shop, 8, 5, part=a_part(lot="2631"))
    (row,) = rows_of(shop)
    assert row.subject == ("condenser fan", "northgate", "2631")
    assert row.numbers["others"] == {"count": 1, "of": 60}


def test_a_part_is_the_same_however_its_letters_are_written(shop):
    for at, name in enumerate(("Northgate", "NORTHGATE", "northgate") * 3):
        job = shop.job(30, day=at % 6, parts=(a_part("Condenser Fan", name),))
        if at < 5:
            shop.comeback(job, 30, FAN)
    (row,) = rows_of(shop)
    assert (row.numbers["count"], row.numbers["of"]) == (5, 9)


def test_another_cause_or_a_failure_after_a_year_is_not_the_part(shop):
    for at in range(8):
        job = shop.job(60, day=at % 6, parts=(a_part(),))
        if at < 4:
            shop.comeback(job, 30, "wheel_bearing")
        else:
            shop.comeback(job, 370, FAN)
    assert rows_of(shop) == []


def test_of_a_past_week_nothing_later_is_seen(shop):
    fitted(shop, 12, 6, ago=10)
    assert rows_of(shop)
    assert rows_of(shop, week=WEEK.shifted(-6)) == []


def test_what_was_told_weeks_ago_stays_for_a_decision_and_says_since_when(shop):
    (row,) = rows_of(fitted(shop, 12, 6, ago=20))
    assert (row.level, row.numbers["new"]) == (Level.ACT, False)
    assert row.numbers["since"] <= str(WEEK.shifted(-13))
