import pytest

from kb.workflow.week.comeback_rates import AtRisk, rates_up
from kb.workflow.week.repairs import repairs_of
from tests.kb.workflow.week.a_shop import FAN, WEEK, AShop


def risk_of(shop, **known):
    seen = shop.seen(**known)
    return seen, AtRisk(seen, repairs_of(seen))


def steady(weeks=70, each=6, back_every=3):
    """Return a shop of which one repair comes back every few weeks, two weeks after it."""
    shop = AShop()
    for ago in range(weeks):
        for at in range(each):
            job = shop.job(ago, day=at)
            if at == 0 and ago % back_every == 0 and ago > 2:
                shop.comeback(job, 14, FAN)
    return shop


def test_what_is_expected_adds_up_to_what_came():
    _, risk = risk_of(steady())
    assert sum(risk.expected[""]) == pytest.approx(sum(risk.came[""]))
    assert sum(risk.came[""]) == 23
    assert risk.hazards[2] == pytest.approx(23 / 432, rel=0.1)
    assert sum(risk.hazards) == pytest.approx(risk.hazards[2])


def test_nothing_is_up_where_nothing_changes():
    assert rates_up(*risk_of(steady())) == {}
    assert rates_up(*risk_of(AShop())) == {}


def test_a_shop_that_does_more_repairs_has_more_comebacks_and_no_worse_ones():
    shop = steady()
    for ago in range(10):
        for at in range(18):
            job = shop.job(ago, day=at % 6)
            if at == 0 and ago > 2:
                shop.comeback(job, 14, FAN)
    assert rates_up(*risk_of(shop)) == {}


def test_a_rate_that_is_up_names_its_repairs_and_one_car_alone_is_none():
    shop, same = steady(back_every=9), steady(back_every=9)
    jobs = [shop.job(4, day=at) for at in range(6)]
    for job in jobs:
        shop.comeback(job, 14, FAN)
    for at in range(6):
        same.comeback(same.job(4, day=at, vin="V1"), 14, FAN)
    found = rates_up(*risk_of(shop))[""]
    assert set(jobs) <= set(found.cases)
    assert found.recent > 2 * found.expected
    assert found.p < 0.005
    assert rates_up(*risk_of(same)) == {}


def test_comebacks_after_the_period_or_after_the_week_do_not_count():
    shop = steady(back_every=999)
    for at in range(6):
        shop.comeback(shop.job(16, day=at), 95, FAN)
        shop.comeback(shop.job(4, day=at), 21, FAN)
    then = WEEK.shifted(-3)
    _, risk = risk_of(shop, week=then)
    assert risk.events == []
    assert rates_up(*risk_of(shop, week=then)) == {}
