import json
from datetime import timedelta

import pytest

from kb.diagnosis.measure import wilson_interval
from kb.workflow.week.comebacks import came_back, comebacks, held
from kb.workflow.week.repairs import repairs_of
from kb.workflow.week.rows import Level
from tests.kb.workflow.week.a_shop import FAN, WEEK, AShop

OTHER = "condenser_fouled"


def rows_of(shop, topic=came_back, **known):
    seen = shop.seen(**known)
    return list(topic(seen, repairs_of(seen)))


def the_row(shop, **known):
    (row,) = (row for row in rows_of(shop, **known) if not row.subject)
    return row


def days_ago(shop, job, days):
    """Return how many days after its close a car came back that came ``days`` before Sunday."""
    line = next(row for row in shop.rows if row.id == job)
    return (WEEK.sunday - line.closed).days - days


def test_the_share_is_of_repairs_that_had_their_whole_period():
    shop = AShop()
    old = [shop.job(20, day=at % 5) for at in range(12)]
    young = [shop.job(3, day=at % 5) for at in range(12)]
    for job in (*old[:3], *young[:5]):
        shop.comeback(job, 8, FAN, end="not_fixed")
    shop.comeback(old[5], 91, FAN)
    numbers = the_row(shop).numbers
    assert (numbers["count"], numbers["of"]) == (3, 12)
    assert (numbers["low"], numbers["high"]) == wilson_interval(3, 12)
    assert numbers["first"] <= str(WEEK.shifted(-20)) <= numbers["last"]
    assert numbers["last"] == str(WEEK.shifted(-13))
    assert [each["system"] for each in numbers["systems"]] == ["hvac"]


def test_few_repairs_are_too_few_to_tell():
    shop = AShop()
    shop.comeback(shop.job(20), 8, FAN)
    assert the_row(shop).numbers["low"] is None
    assert rows_of(AShop()) == []


def test_a_job_that_came_back_counts_for_the_repair_and_is_a_repair_of_its_own():
    shop = AShop()
    jobs = [shop.job(20, day=at % 5) for at in range(10)]
    shop.comeback(jobs[0], 8, "wheel_bearing")
    by_system = {row["system"]: row for row in the_row(shop).numbers["systems"]}
    assert (by_system["hvac"]["count"], by_system["hvac"]["of"]) == (1, 10)
    assert by_system["steering_suspension"]["count"] == 0


def test_a_case_overturned_this_week_is_for_a_decision_and_stands_first():
    shop = AShop()
    plain, wrong = shop.job(6), shop.job(5)
    same = shop.comeback(plain, days_ago(shop, plain, 2), FAN)
    other = shop.comeback(wrong, days_ago(shop, wrong, 1), OTHER)
    row = the_row(shop)
    assert row.level is Level.ACT
    assert row.numbers["overturned"] == 1
    assert row.cases == (wrong, other, plain, same)
    assert [each["overturned"] for each in row.numbers["came"]] == [True, False]
    assert row.numbers["came"][0]["cause_now"] == OTHER
    json.dumps(row.as_json(), allow_nan=False)


def test_a_comeback_that_is_open_is_known_and_one_that_cures_the_same_cause_is_no_alarm():
    shop = AShop()
    job = shop.job(6)
    shop.comeback(job, days_ago(shop, job, 2))
    row = the_row(shop)
    assert row.level is Level.KNOW
    assert [each["cause_now"] for each in row.numbers["came"]] == [None]


def test_of_a_past_week_nothing_later_is_seen():
    shop = AShop()
    for at in range(12):
        shop.job(20, day=at % 5)
    job = shop.job(6)
    shop.comeback(job, days_ago(shop, job, 1), OTHER)
    then = the_row(shop, week=WEEK.shifted(-1))
    assert (then.level, then.numbers["came"]) == (Level.KNOW, [])


def test_weeks_of_twenty_repairs_stand_in_the_chart_with_their_band():
    shop = AShop()
    for ago in range(13, 40):
        for at in range(25 if ago % 2 else 19):
            job = shop.job(ago, day=at % 5)
            if at < (9 if ago == 15 else 1):
                shop.comeback(job, 8, FAN, end="not_fixed")
    weeks = {row["week"]: row for row in the_row(shop).numbers["weeks"]}
    assert all(row["of"] >= 20 for row in weeks.values())
    odd = weeks[str(WEEK.shifted(-15))]
    assert odd["count"] > odd["upper"] >= 25 * odd["centre"]
    assert str(WEEK.shifted(-14)) not in weeks


def test_more_comebacks_than_used_to_be_are_told_for_their_system():
    shop = AShop()
    for ago in range(70):
        for at in range(6):
            job = shop.job(ago, (FAN, "wheel_bearing")[at % 2], day=at)
            if (ago % 6 == 0 and at == 1) or (3 <= ago < 8 and at in {0, 2}):
                shop.comeback(job, 12, shop.rows[-1].cause)
    (row,) = (row for row in rows_of(shop) if row.subject == ("hvac",))
    rate = row.numbers["rate"]
    assert rate["recent"] == 10
    assert rate["expected"] < 3
    assert row.level in {Level.ACT, Level.KNOW}
    assert rate["flag"] == "alert"
    assert not [row for row in rows_of(shop) if row.subject == ("steering_suspension",)]
    json.dumps(row.as_json(), allow_nan=False)


def test_cases_past_their_period_that_stayed_away_may_be_held():
    shop = AShop()
    past = shop.job(20)
    shop.job(2)
    shop.job(20, held=True)
    shop.job(20, overturned_by="J9")
    shop.comeback(shop.job(20), 8)
    twice = shop.job(20, vin="V1")
    late = shop.job(17, vin="V1")
    (row,) = rows_of(shop, held)
    assert twice not in row.cases
    assert row.cases == (past, late)
    assert row.numbers == {"count": 2, "holding_days": 90}
    assert row.level is Level.KNOW


@pytest.mark.parametrize(("days", "count"), [(89, 0), (90, 1)])
def test_the_period_is_over_on_its_last_day(days, count):
    shop = AShop()
    closed = WEEK.sunday - timedelta(days=days)
    shop.job(0, closed=closed, opened=closed)
    assert len(rows_of(shop, held)) == count


def test_the_topic_yields_every_kind_of_row():
    shop = AShop()
    jobs = [shop.job(20, day=at % 5) for at in range(40)]
    shop.comeback(jobs[0], 8, FAN)
    assert [row.kind for row in comebacks(shop.seen())] == [
        "came_back",
        "held",
        "lasting",
        "lasting",
    ]
