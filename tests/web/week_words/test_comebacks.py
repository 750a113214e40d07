from kb.workflow.week.comebacks import comebacks
from kb.workflow.week.rows import Level, WeekRow
from kb.workflow.week.shares import share_of
from tests.kb.workflow.week.a_shop import FAN, WORDS, AShop, a_part
from web.week_words.rows import say

NAME, OTHER = (WORDS.cause_name(key) for key in (FAN, "condenser_fouled"))


def said(kind, *subject, level=Level.KNOW, **numbers):
    return say(WeekRow(kind=kind, subject=subject, level=level, numbers=numbers), WORDS)


def came(*, now=None, overturned=False):
    return {
        "case": "J1",
        "back": "J2",
        "cause": FAN,
        "cause_now": now,
        "days": 12,
        "overturned": overturned,
    }


def back(*rows, rate=None, subject=(), **known):
    numbers = {
        "holding_days": 90,
        **share_of(7, 41),
        "before": share_of(3, 60),
        "came": list(rows),
        "overturned": sum(row["overturned"] for row in rows),
        "rate": rate,
    }
    return said("came_back", *subject, **(numbers | known))


def test_a_week_without_comebacks_is_said_with_the_share_of_those_that_had_their_time():
    told = back()
    assert told.what == "No car came back this week."
    assert told.numbers == (
        "of the newest repairs that are 90 days old, so many came back within those days: 7 of 41, "
        "with luck either way 9 to 31 %; the year before 3 of 60, with luck either way 2 to 14 %."
    )
    assert told.do == ""


def test_each_comeback_is_said_with_what_it_was():
    told = back(came(now="condenser_fouled", overturned=True), came())
    assert told.what == "2 cars came back this week; 1 case was overturned."
    assert told.numbers.startswith(
        f"J2 after 12 days: {NAME}, and it was {OTHER}; J2 after 12 days: {NAME}, not proven yet"
    )
    assert told.do.startswith("Open the overturned case")


def test_a_young_shop_is_told_that_no_repair_had_its_time():
    told = back(**share_of(0, 0))
    assert told.numbers == "no repair has its 90 days behind it yet."


def test_a_rate_that_is_up_is_said_for_the_shop_and_for_a_system():
    rate = {"recent": 9, "recent_weeks": 8, "expected": 3.14, "new": False, "since": "2026-W40"}
    told = "9 came back in 8 weeks, 3.1 expected from that many repairs; seen since 2026-W40"
    shop = back(rate=rate)
    assert shop.what.endswith("More come back than used to.")
    assert shop.numbers.endswith(f"{told}.")
    assert shop.do.startswith("Go through the cars")
    system = back(rate=rate, subject=("cooling",), system="cooling")
    assert system.what == "Engine cooling: more repairs come back than used to."
    assert system.numbers.startswith(told)


def part(level=Level.ACT, **known):
    numbers = {
        "part": "condenser fan",
        "supplier": "Northgate",
        "lot": None,
        **share_of(6, 12),
        "others": {"count": 1, "of": 40},
        "p": 0.0004,
        "median_days": 42.5,
        "shape": 0.6,
        "flag": "alert",
        "new": True,
    }
    return said("failed_part", "condenser fan", level=level, **(numbers | known))


def test_a_part_is_said_with_supplier_lot_and_how_soon_it_failed():
    told = part(lot="2631")
    assert told.what == (
        "Condenser fan by Northgate, lot 2631: 6 of 12 failed again within a year."
    )
    assert told.numbers == (
        "6 of 12, with luck either way 25 to 75 %; all others of this part: 1 of 40; half of the "
        "failures came within 42 days; most fail soon after they were fitted."
    )
    assert told.do.startswith("Claim the warranty")


def test_a_part_that_may_be_bad_luck_asks_for_nothing():
    told = part(level=Level.KNOW, flag=None, p=None, others={"count": 0, "of": 0}, shape=None)
    assert told.do == ""
    assert "no other of this part to hold it against" in told.numbers
    assert told.numbers.endswith("too few to tell whether that is the supplier.")
    assert "much the same age" in part(shape=2.5).numbers
    assert "at any age" in part(shape=1.0).numbers


def test_cases_past_their_period_are_counted():
    assert said("held", count=1, holding_days=90).what == (
        "1 case is 90 days old and did not come back."
    )
    assert said("held", count=3, holding_days=60).what.startswith("3 cases are 60 days old")


def curve(share, *subject, **known):
    held = share and {"share": share, "low": 0.85, "high": 0.96, "at_risk": 31}
    numbers = {
        "system": subject[0] if subject else None,
        "holding_days": 90,
        "repairs": 40,
        "failures": 4,
        "held": held,
        "fixes_too_few": 0,
    }
    return said("lasting", *subject, **(numbers | known))


def test_repairs_that_hold_are_said_out_of_100():
    told = curve(0.914, "cooling")
    assert told.what == "Engine cooling: 91 of 100 repairs hold for 90 days."
    assert told.numbers == (
        "with luck either way 85 to 96 %; 4 of 40 came back with the same cause so far; "
        "31 repairs were followed that long."
    )
    assert curve(0.996).what == "All systems: over 99 of 100 repairs hold for 90 days."
    assert curve(1.0).what == "All systems: 100 of 100 repairs hold for 90 days."


def test_too_few_are_said_to_be_too_few():
    assert curve(None).what == "All systems: too few to tell yet."
    told = curve(0.9, fixes_too_few=2).numbers
    assert "2 causes are repaired in more than one way, too few to tell which holds better" in told


def test_the_better_of_two_ways_of_mending_is_named():
    fixes = [{"fix": "cleaned", **share_of(12, 20)}, {"fix": "workaround", **share_of(1, 20)}]
    told = said("lasting", "fix", cause=FAN, fixes=fixes, holding_days=90)
    assert told.what.endswith(": holds better worked around than cleaned.")
    assert "cleaned: 12 of 20" in told.numbers


def test_every_row_that_is_counted_can_be_said():
    shop = AShop()
    for at in range(60):
        supplier, fails = ("Northgate", at % 3 == 0) if at < 30 else ("Hillfoot", False)
        fix = "cleaned" if at < 30 else "replaced"
        job = shop.job(20, day=at % 5, parts=(a_part(supplier=supplier),), fix=fix)
        if fails:
            shop.comeback(job, 8, FAN)
    shop.comeback(shop.job(3), 19)
    rows = list(comebacks(shop.seen()))
    assert {row.kind for row in rows} == {"came_back", "failed_part", "held", "lasting"}
    for row in rows:
        told = say(WeekRow.from_json(row.as_json()), WORDS)
        assert told.what.endswith(".")
        assert "None" not in f"{told.what} {told.numbers} {told.do}"
