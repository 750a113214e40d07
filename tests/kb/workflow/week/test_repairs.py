from datetime import timedelta

import pytest

from kb.workflow.week.repairs import repairs_of
from tests.kb.workflow.week.a_shop import FAN, WEEK, AShop

OTHER = "condenser_fouled"


def the_repair(shop, job, **known):
    (row,) = (row for row in repairs_of(shop.seen(**known)).rows if row.line.id == job)
    return row


def test_a_car_never_seen_again_is_followed_to_the_end_of_the_period():
    shop = AShop()
    old, new = shop.job(40), shop.job(2, day=0)
    assert (the_repair(shop, old).watched, the_repair(shop, old).failed) == (90, False)
    assert the_repair(shop, new).watched == 20


def test_a_car_that_comes_for_other_things_is_followed_as_long_as_it_comes():
    shop = AShop()
    job = shop.job(40, vin="V1")
    last = shop.job(10, OTHER, vin="V1")
    days = 30 * 7 - 1
    assert the_repair(shop, job).watched == days
    assert the_repair(shop, last).watched == 74


def test_a_comeback_with_the_same_cause_is_a_failure_on_its_day():
    shop = AShop()
    job = shop.job(40)
    back = shop.comeback(job, 30, FAN, stay=2)
    row = the_repair(shop, job)
    assert row.back is not None
    assert (row.back.id, row.again, row.failed, row.days) == (back, 30, True, 30)
    assert row.back_within(30)
    assert not row.back_within(29)
    assert not the_repair(shop, back).failed


def test_the_same_car_with_the_same_cause_is_a_failure_without_a_word_about_it():
    shop = AShop()
    job = shop.job(40, vin="V1")
    shop.job(36, vin="V1")
    assert (the_repair(shop, job).again, the_repair(shop, job).back) == (27, None)


def test_a_failure_that_only_silence_would_have_hidden_is_not_counted_against_it():
    shop = AShop()
    job = shop.job(60)
    shop.comeback(job, 200, FAN)
    row = the_repair(shop, job)
    assert (row.again, row.watched, row.failed, row.days) == (200, 90, False, 90)


@pytest.mark.parametrize("cause", [None, OTHER])
def test_a_comeback_that_is_open_or_has_another_cause_ends_what_is_known(cause):
    shop = AShop()
    job = shop.job(40)
    shop.comeback(job, 30, cause)
    row = the_repair(shop, job)
    assert (row.again, row.watched, row.failed) == (None, 30, False)


def test_as_of_a_past_week_the_comeback_was_not_there():
    shop = AShop()
    job = shop.job(8, day=0)
    shop.comeback(job, 30, FAN)
    then = the_repair(shop, job, week=WEEK.shifted(-5))
    assert (then.back, then.again, then.watched) == (None, None, 27)


def test_a_chain_of_comebacks_leads_to_the_first_repair():
    shop = AShop()
    job = shop.job(40)
    second = shop.comeback(job, 10, OTHER)
    shop.comeback(second, 20, FAN)
    assert the_repair(shop, job).again == 30


def test_jobs_without_a_repair_are_none_and_the_period_is_the_shops_own():
    shop = AShop(holding="30")
    job = shop.job(40)
    for end in ("declined", "no_fault_found", "comeback_other"):
        shop.job(40, end=end)
    shop.job(40, None)
    found = repairs_of(shop.seen())
    assert ([row.line.id for row in found.rows], found.holding) == ([job], 30)
    assert found.rows[0].watched == timedelta(days=30).days
