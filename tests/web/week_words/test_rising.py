import pytest

from kb.workflow.week.rising import rising
from kb.workflow.week.rising_complaints import rising_complaints
from kb.workflow.week.rows import WeekRow
from kb.workflow.week.seasons import seasons
from tests.kb.workflow.week.a_shop import FAN, WEEK, WORDS, AShop
from web.week_words.counts import first_up
from web.week_words.rows import say

NAME = WORDS.cause_name(FAN)
RISE = {
    "cause": FAN,
    "recent": 9,
    "before": 14,
    "recent_weeks": 8,
    "before_weeks": 104,
    "vehicles": 9,
    "expected": 2.64,
    "ratio": 3.41,
    "low": 1.31,
    "high": 8.4,
    "season_factor": 1.42,
    "flag": "alert",
    "new": True,
    "since": "2026-W47",
    "carried_by": None,
}


def said(kind, *subject, **numbers):
    return say(WeekRow(kind=kind, subject=subject, numbers=RISE | numbers), WORDS)


def test_a_cause_that_rises_is_one_sentence_with_its_counts():
    told = said("rising_cause", FAN)
    assert told.what == f"{first_up(NAME)} comes up more often than it used to."
    assert told.numbers == (
        "9 times in 8 weeks, on 9 cars; 2.6 expected from that many jobs; 14 in the 104 weeks before; "
        "3.4 times as many as usual, with luck either way 1.3 to 8.4; "
        "the time of year alone would make it 1.4 times as many."
    )
    assert "in stock" in told.do


def test_what_may_be_luck_and_what_lasts_is_said():
    told = said("rising_cause", FAN, flag="watch", new=False, since="2026-W40", season_factor=None)
    assert told.numbers.endswith(
        "what the time of year does is not known yet; may still be luck; seen since 2026-W40."
    )
    assert told.do.startswith("Watch it next week")


def test_a_batch_is_said_to_count_once():
    assert (
        "on 12 cars (those of one model on one day count once)"
        in said("rising_cause", FAN, vehicles=12).numbers
    )


def test_the_model_that_carries_a_rise_is_named():
    carrier = {"make": "Dunmarrow", "model": "Packhorse", "engine": "2.0", "recent": 7}
    told = said("rising_cause", FAN, carried_by=carrier)
    assert told.what.endswith("7 of 9 on one model: Dunmarrow Packhorse 2.0.")
    every = said("rising_cause", FAN, carried_by=carrier | {"recent": 9})
    assert every.what.endswith("used to, all on one model: Dunmarrow Packhorse 2.0.")
    pair = said("rising_pair", FAN, "dunmarrow", **carrier)
    assert pair.what == f"Dunmarrow Packhorse 2.0: {NAME} comes up more often than it used to."


def test_a_complaint_is_said_with_the_jobs_of_its_model_and_of_all_others():
    told = said(
        "rising_complaint",
        concept="ac_not_cold",
        make="Dunmarrow",
        model="Packhorse",
        engine="",
        year=2019,
        recent_jobs=22,
        before_jobs=104,
        before=0,
        ratio=None,
        elsewhere={"recent": 1, "before": 2, "recent_jobs": 200, "before_jobs": 1300},
    )
    assert told.what.startswith("2019 Dunmarrow Packhorse: “air not cold at full cold” is heard")
    assert told.numbers.startswith("9 on 22 jobs of this model in 8 weeks (9 cars); 0 on 104 jobs")
    assert "none before; all other models: 1 on 200 jobs, before 2 on 1300" in told.numbers


def test_a_season_is_said_out_of_100_jobs():
    counts = {"recent": 52, "recent_of": 208, "before": 13, "before_of": 169, "weeks": 13}
    per = {"recent_per_100": 25.0, "before_per_100": 7.69, "ratio": 3.25, "low": 1.7, "high": 6.5}
    told = said("season", "cooling", system="cooling", **(counts | per))
    assert told.what == "Engine cooling: more work than in the same 13 weeks a year ago."
    assert told.numbers.startswith(
        "25 of 100 jobs (52 of 208), a year ago 8 (13 of 169); 3.2 times"
    )
    less = said("season", "cooling", system="cooling", **(counts | per | {"recent_per_100": 2.0}))
    assert "less work" in less.what


def test_no_season_is_said_with_the_systems_that_have_too_few():
    told = said("season", too_few=["brakes"], weeks=13)
    assert told.what.startswith("In the last 13 weeks no system")
    assert told.numbers == "too few to tell: Brakes."


@pytest.fixture
def shop():
    """Return a shop in which something of each kind rises."""
    made = AShop().fill(70)
    for ago in range(70):
        made.job(ago, "service_valve_leak", model="Packhorse")
    for at in range(7):
        made.job(0, day=at, model="Packhorse", symptoms=("ac_not_cold",), vin=f"V{at}")
    return made


def test_every_row_that_is_counted_can_be_said(shop):
    topics = (rising, rising_complaints, seasons)
    rows = [row for topic in topics for row in topic(shop.seen())]
    kinds = {row.kind for row in rows}
    assert kinds == {"rising_cause", "rising_pair", "rising_complaint", "season"}
    for row in rows:
        kept = WeekRow.from_json(row.as_json())
        told = say(kept, WORDS)
        assert told.what.endswith(".")
        assert "None" not in f"{told.what} {told.numbers} {told.do}"
    assert str(WEEK) in {row.numbers.get("since") for row in rows}
