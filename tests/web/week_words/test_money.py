import pytest

from kb.case.handover import dangers_of
from kb.case.terms import load_vocabulary
from kb.workflow.week.rows import WeekRow
from kb.workflow.week.shares import share_of, sum_known
from web.week_words.rows import say

WORDS = load_vocabulary()
FAN = WORDS.cause_name("condenser_fan_dead")
DANGER = next(key for key, row in WORDS.causes.items() if row.system == "brakes")


def said(kind, *subject, **numbers):
    return say(WeekRow(kind=kind, subject=subject, numbers=numbers), WORDS)


def lost(*subject, **known):
    sums = {
        "times": 6,
        "share": share_of(4, 40),
        "cents": sum_known([123400, 50, None, None]),
        "minutes": sum_known([95.0]),
    }
    return said("money_lost", *subject, **(sums | known))


def test_parts_that_did_not_cure_are_said_with_what_is_known_of_their_cost():
    told = lost()
    assert told.what == "6 parts or pieces of work did not cure, in 4 jobs."
    assert told.numbers == (
        "6 times in 8 weeks; jobs with it: 4 of 40, with luck either way 4 to 23 %; 1,234.50 in all "
        "(cost known for 2 of 4); 95 minutes."
    )
    assert told.do == ""


def test_a_part_is_said_with_what_it_was_instead():
    causes = [{"cause": "condenser_fan_dead", "jobs": 3}, {"cause": None, "jobs": 1}]
    told = lost("fan relay", part="fan relay", causes=causes)
    assert told.what == "Fan relay was tried in 4 jobs and did not cure."
    assert told.numbers.endswith(f"What it was instead: {FAN} (3); no cause found (1).")
    assert told.do == (f"Make it a rule: check for “{FAN}” before fan relay is tried.")
    once = lost("fuse", part="fuse", causes=[{"cause": "condenser_fan_dead", "jobs": 1}])
    assert once.do == "Make it a rule: check what else it could be before fuse is tried."


def test_declined_repairs_are_said_with_value_age_and_return():
    one = {
        "job": "J1",
        "car": "2014 Dunmarrow",
        "cause": "condenser_fan_dead",
        "days": 40,
        "cents": 41250,
    }
    back = {"job": "J9", "comeback": True, "open": True, "cause": None, "same": False}
    known = {
        "back": share_of(3, 9),
        "done": share_of(1, 4),
        "waiting": 4,
        "cents": sum_known([41250, None]),
        "jobs": [
            one | {"back": back},
            one | {"back": back | {"comeback": False, "open": False, "same": True}},
            one | {"back": back | {"open": False}},
            one | {"back": None, "cents": None, "days": 1},
        ],
    }
    told = said("declined", **known)
    assert told.what == "4 repairs were declined with the cause proven, and not done since."
    assert told.numbers == (
        "Worth 412.50 in all (price known for 1 of 2). Of those declined in 52 weeks, the car came "
        "back: 3 of 9, with luck either way 12 to 65 %; repaired since: 1 of 4, too few to tell. "
        f"By age: J1, 2014 Dunmarrow, 40 days, {FAN}, 412.50, came back (J9, a comeback, still open); "
        f"J1, 2014 Dunmarrow, 40 days, {FAN}, 412.50, came back (J9, the same cause); "
        f"J1, 2014 Dunmarrow, 40 days, {FAN}, 412.50, came back (J9, a comeback, no cause found); "
        f"J1, 2014 Dunmarrow, 1 day, {FAN}, no price written down."
    )
    unpriced = said("declined", **(known | {"cents": sum_known([None])}))
    assert unpriced.numbers.startswith("No price is written down.")
    done = said("declined", **(known | {"waiting": 0, "jobs": []}))
    assert done.what == "Of the declined repairs with a proven cause none is left to do."
    assert done.do == ""


@pytest.mark.parametrize(
    ("name", "what"),
    [
        ("over", "Time is up for 1 work-around with the car not back yet."),
        ("due", "Time will be up within 14 days for 1 work-around."),
        ("no_end", "No end date is written down for 1 work-around."),
    ],
)
def test_workarounds_are_said_with_their_day(name, what):
    until = None if name == "no_end" else "2026-11-20"
    job = {"job": "J1", "cause": "condenser_fan_dead", "until": until, "days": 40}
    told = said("workaround", name, jobs=[job])
    assert told.what == what
    assert told.do
    when = "40 days old" if until is None else "meant to last to 2026-11-20"
    assert f"J1, {when}, {FAN}." in told.numbers


def test_safety_says_the_danger_and_that_local_rules_come_first():
    job = {"job": "J1", "cause": DANGER, "days": 2, "back": None, "told": False}
    week = said("safety", "week", told=0, jobs=[job])
    assert week.what == "1 car left this week with a safety repair not done."
    assert dangers_of(DANGER, WORDS)[0].removesuffix(".") in week.numbers
    assert week.numbers.startswith("Who was told of the danger is written down for 0 of 1.")
    before = said("safety", "before", told=1, jobs=[job, job])
    assert before.what.startswith("2 cars left in the half year before")
    for told in (week, before):
        assert "signed" in told.do
        assert told.do.endswith("local rules come first.")
