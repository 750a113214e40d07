from kb.case.terms import load_vocabulary
from kb.workflow.week.rows import WeekRow
from web.week_words.rows import say

WORDS = load_vocabulary()


def said(kind, **numbers):
    return say(WeekRow(kind=kind, numbers=numbers), WORDS)


def test_old_jobs_are_said_with_age_and_reason():
    jobs = [
        {"job": f"J{at}", "days": 20 - at, "why": "nothing", "waits_for": None} for at in range(6)
    ]
    jobs[1] |= {"why": "parts", "waits_for": "condenser parts"}
    told = said("old_job", open=9, old=6, over=2, why={"nothing": 5, "parts": 1}, jobs=jobs)
    assert told.what == "6 jobs were open for more than 5 days, 2 of them for more than 14."
    assert told.numbers == (
        "9 jobs were open in all. What those over 5 days wait for: no reason written down: 5; "
        "parts: 1. By age: J0, 20 days, no reason written down; J1, 19 days, condenser parts; "
        "J2, 18 days, no reason written down; J3, 17 days, no reason written down; J4, 16 days, no reason "
        "written down; and 1 more."
    )
    one = said("old_job", open=1, old=1, over=0, why={"no_check": 1}, jobs=jobs[1:2])
    assert one.what == "1 job was open for more than 5 days."
    assert one.numbers.endswith(": 1. J1, 19 days, condenser parts.")


def test_old_jobs_that_are_all_old_are_said_once_with_their_cars():
    job = {"job": "J1", "car": "2014 Dunmarrow", "days": 16, "why": "parts", "waits_for": "a pump"}
    told = said("old_job", open=1, old=1, over=1, why={"parts": 1}, jobs=[job])
    assert told.what == "1 job was open for more than 14 days."
    assert told.numbers.endswith("J1, 2014 Dunmarrow, 16 days, a pump.")


def test_words_are_said_with_where_to_say_what_they_mean():
    words = [{"word": "blorf", "jobs": 3, "last": "2026-11-20"}]
    told = said("unread_word", words=words, more=0)
    assert told.what == "Nobody understood “blorf” in 3 jobs."
    assert told.numbers == "“blorf” in 3 jobs, last on 2026-11-20."
    assert "“Words”" in told.do
    more = said("unread_word", words=words * 2, more=4)
    assert more.what.endswith("in 3 jobs, and so it is with 5 other words.")
