from datetime import UTC, datetime, time, timedelta

import pytest

from kb.case.model import Finding, JobState
from kb.case.shop_rows import ShopTerm
from kb.case.shop_words import with_shop_terms
from kb.case.terms import load_vocabulary
from kb.workflow.jobs import set_waiting
from kb.workflow.week.open_work import MOST_WORDS, open_work
from kb.workflow.week.rows import Level
from kb.workflow.week.seen import Seen
from tests.factories import a_case, a_closing, a_job
from tests.kb.workflow.week.test_seen import WEEK, seen_of

__all__ = ["seen_of"]

SUNDAY = WEEK.sunday


def noon(days_before_sunday):
    day = SUNDAY - timedelta(days=days_before_sunday)
    return datetime.combine(day, time(12), UTC)


def opened(id, days, waits_for=None, **known):  # noqa: A002
    state = JobState.WAITING if waits_for else JobState.OPEN
    day = SUNDAY - timedelta(days=days)
    return a_job(id, opened=day, state=state, waits_for=waits_for, **known)


def row_of(seen, kind):
    found = [row for row in open_work(seen) if row.kind == kind]
    assert len(found) <= 1
    return found[0] if found else None


# --- jobs that stand ------------------------------------------------------------------------------


def test_jobs_of_five_days_are_no_matter_yet(seen_of):
    assert list(open_work(seen_of(opened("J1", 5), a_case("J2")))) == []


def test_old_jobs_are_listed_by_age_with_why(seen_of):
    checked = (Finding(check="fuse_check", outcome="ok"),)
    seen = seen_of(
        opened("J1", 6, "condenser  PARTS, Tuesday"),
        opened("J2", 14, "the customer's word"),
        opened("J3", 8, findings=checked),
        opened("J4", 7),
        opened("J5", 9, "cannot reproduce it"),
        opened("J6", 10, "a free lift"),
        opened("J7", 2, "parts"),
        opened("J8", -1),
    )
    row = row_of(seen, "old_job")
    assert (row.level, row.strength) == (Level.LOOK, 14)
    assert row.cases == ("J2", "J6", "J5", "J3", "J4", "J1")
    assert [row.numbers[key] for key in ("open", "old", "over")] == [7, 6, 0]
    assert row.numbers["why"] == dict.fromkeys(
        ("customer", "else", "not_shown", "nothing", "no_check", "parts"), 1
    )
    assert row.numbers["jobs"][0] == {
        "job": "J2", "car": "2014 Dunmarrow Packhorse", "days": 14, "why": "customer",
        "waits_for": "the customer's word",
    }  # fmt: skip


def test_a_job_of_more_than_two_weeks_is_to_act_on(seen_of):
    row = row_of(seen_of(opened("J1", 15), opened("J2", 6)), "old_job")
    assert (row.level, row.numbers["over"]) == (Level.ACT, 1)


@pytest.mark.parametrize(
    ("typed", "why"),
    [
        ("Delivery of the hose", "parts"),
        ("calliper", "else"),
        ("call from Mrs B", "customer"),
        ("go-ahead", "customer"),
        ("fault does not show", "not_shown"),
        ("sublet", "else"),
    ],
)
def test_what_a_job_waits_for_is_read_from_its_words(seen_of, typed, why):
    assert row_of(seen_of(opened("J1", 9, typed)), "old_job").numbers["why"] == {why: 1}


def test_a_past_week_is_told_as_it_stood(store, seen_of):
    closed = a_closing(closed=SUNDAY + timedelta(days=1))
    seen_of(
        opened("J1", 30),
        opened("J2", 20, "tow truck"),
        a_case("J3", opened=SUNDAY - timedelta(days=10), closing=closed),
        opened("J4", 8),
    )
    with store.write("Ines", noon(9)) as unit:
        unit.history.add("wait", "J3", "the part")
    for days, job, reason in (
        (9, "J1", "parts"),
        (8, "J1", " the owner's answer "),
        (-1, "J1", "parts again"),
        (-2, "J4", "parts"),
    ):
        with store.write("Ines", noon(days)) as unit:
            set_waiting(unit, job, reason)
    row = row_of(seen_of(), "old_job")
    waits = {one["job"]: one["waits_for"] for one in row.numbers["jobs"]}
    assert waits == {"J1": "the owner's answer", "J2": "tow truck", "J3": "the part", "J4": None}
    later = row_of(seen_of(week=WEEK.shifted(1)), "old_job")
    waits = {one["job"]: one["waits_for"] for one in later.numbers["jobs"]}
    assert waits == {"J1": "parts again", "J2": "tow truck", "J4": "parts"}


def test_a_job_taken_up_again_waits_for_nothing(store, seen_of):
    seen_of(opened("J1", 30))
    for days, reason in ((9, "parts"), (8, "")):
        with store.write("Ines", noon(days)) as unit:
            set_waiting(unit, "J1", reason)
    with store.write("Ines", noon(-3)) as unit:
        set_waiting(unit, "J1", "parts")
    assert row_of(seen_of(), "old_job").numbers["why"] == {"no_check": 1}


# --- words that nobody understood -----------------------------------------------------------------


@pytest.fixture
def unread(store, seen_of):
    """Return a function that notes words as unread in jobs of their own."""
    made: list[str] = []

    def note(word, *days):
        for each in days:
            made.append(f"U{len(made)}")
            day = noon(each)
            with store.write("Ines", day) as unit:
                unit.jobs.add(a_case(made[-1]), verb="import")
                unit.unread.add(made[-1], [word])
        return seen_of

    return note


def test_words_of_two_jobs_or_more_are_named_the_commonest_first(unread):
    unread("blorf", 1, 9)
    unread("zumzum", 1, 2, 3)
    unread("once", 1)
    seen = unread("quorx", 1, -1, 57)()
    row = row_of(seen, "unread_word")
    assert row.level is Level.LOOK
    assert row.numbers == {
        "words": [
            {"word": "zumzum", "jobs": 3, "last": noon(1).date().isoformat()},
            {"word": "blorf", "jobs": 2, "last": noon(1).date().isoformat()},
        ],
        "more": 0,
    }
    # The newest first.
    assert row.cases == ("U2", "U0", "U3", "U4", "U1")


def test_a_word_in_one_job_is_no_row(unread):
    assert row_of(unread("blorf", 1)(), "unread_word") is None


def told(seen, *terms):
    """Return the shop seen with these words of its own."""
    return Seen(unit=seen.unit, week=WEEK, words=with_shop_terms(load_vocabulary(), terms))


def means(word):
    body = {"means": "symptom", "what": "ac_not_cold"}
    return ShopTerm(kind="synonym", key=word, name=word, body=body)


def test_what_is_still_unclear_of_two_runs_of_words_is_one_word(unread):
    unread("blorf quorx", 1)
    seen = unread("zumzum blorf", 2)()
    assert row_of(seen, "unread_word") is None
    row = row_of(told(seen, means("quorx"), means("zumzum")), "unread_word")
    assert [(one["word"], one["jobs"]) for one in row.numbers["words"]] == [("blorf", 2)]


def test_a_word_that_got_its_meaning_or_was_set_aside_is_left_out(unread):
    unread("blorf", 1, 2)
    unread("zumzum", 1, 2)
    seen = unread("quorx", 1, 2)()
    seen = told(seen, means("blorf"), ShopTerm(kind="ignored", key="zumzum", name="zumzum"))
    row = row_of(seen, "unread_word")
    assert [one["word"] for one in row.numbers["words"]] == ["quorx"]


def test_ten_words_are_named_and_the_others_counted(unread):
    names = [f"blorf{letter}" for letter in "abcdefghijkl"]
    for name in names[:-1]:
        unread(name, 1, 2)
    row = row_of(unread(names[-1], 1, 2)(), "unread_word")
    assert len(row.numbers["words"]) == MOST_WORDS
    assert row.numbers["more"] == 2
