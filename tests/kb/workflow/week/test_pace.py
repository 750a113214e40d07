from datetime import timedelta

import pytest

from kb.case.model import Finding
from kb.workflow.week.pace import LEAST, SHOWN_WEEKS, pace, quartiles
from tests.factories import a_case, a_closing
from tests.kb.workflow.week.test_seen import WEEK, seen_of

__all__ = ["seen_of"]


def took(id, days, *, weeks_ago=0, **changes):  # noqa: A002 - the model's own word
    closed = WEEK.shifted(-weeks_ago).monday + timedelta(days=2)
    closing = a_closing(changes.pop("cause", "condenser_fan_dead"), closed=closed)
    return a_case(id, opened=closed - timedelta(days=days), closing=closing, **changes)


def the_row(seen):
    (row,) = pace(seen)
    return row


@pytest.mark.source(
    "Hyndman & Fan (1996)", "type 7 by hand: place 1 + 3/4 of 6 values less 1 = 4.75, from memory"
)
def test_quartiles_lie_between_values():
    found = quartiles([1.0, 2.0, 3.0, 4.0, 8.0, 9.0])
    assert (found["low"], found["middle"], found["high"]) == (2.25, 3.5, 7.0)


def test_days_are_counted_from_opening_to_closing_by_week(seen_of):
    days = (0, 1, 2, 3, 9)
    jobs = [took(f"J{at}", each) for at, each in enumerate(days)]
    older = [took(f"K{at}", 4, weeks_ago=9) for at in range(LEAST)]
    row = the_row(seen_of(*jobs, *older))
    assert row.numbers["recent"] == {"jobs": 5, "low": 1.0, "middle": 2.0, "high": 3.0}
    assert row.numbers["before"] == {"jobs": 5, "low": 4.0, "middle": 4.0, "high": 4.0}
    weeks = row.numbers["weeks"]
    assert len(weeks) == 10
    assert weeks[-1] == {"week": str(WEEK), **row.numbers["recent"]}
    assert weeks[0] == {"week": str(WEEK.shifted(-9)), **row.numbers["before"]}
    assert [week["jobs"] for week in weeks[1:-1]] == [0] * 8
    assert row.cases == ("J4", "J3", "J2", "J1", "J0")


def test_a_job_without_a_cause_says_nothing_about_the_time_to_one(seen_of):
    assert not list(pace(seen_of(took("J1", 3, cause=None))))
    assert not list(pace(seen_of()))


def test_jobs_of_long_ago_alone_make_no_row(seen_of):
    assert not list(pace(seen_of(took("J1", 3, weeks_ago=20))))


def test_half_a_year_is_kept_and_few_jobs_have_no_middle(seen_of):
    seen = seen_of(took("J1", 3), took("J2", 3, weeks_ago=60))
    row = the_row(seen)
    assert len(row.numbers["weeks"]) == SHOWN_WEEKS
    assert row.numbers["recent"] == {"jobs": 1, "low": None, "middle": None, "high": None}
    # 60 weeks ago lies before the year that the recent weeks are held against.
    assert row.numbers["before"]["jobs"] == 0


def test_minutes_are_those_of_all_checks_of_a_job_that_has_any(seen_of):
    def checked(id, *minutes):  # noqa: A002 - the model's own word
        findings = tuple(
            Finding(check="fuse_check", outcome="ok", minutes=each) for each in minutes
        )
        return took(id, 0, findings=findings)

    jobs = [checked(f"J{at}", 10.0 * at, 5.0, None) for at in range(5)]
    row = the_row(seen_of(*jobs, checked("K1"), checked("K2", None)))
    assert row.numbers["minutes"] == {"jobs": 5, "low": 15.0, "middle": 25.0, "high": 35.0}


def test_a_job_closed_before_it_was_opened_took_no_days(seen_of):
    wrong = [took(f"W{at}", -3) for at in range(LEAST)]
    assert list(pace(seen_of(*wrong))) == []
    row = the_row(seen_of(*(took(f"J{at}", 2) for at in range(LEAST))))
    assert row.numbers["recent"] == {"jobs": 5, "low": 2.0, "middle": 2.0, "high": 2.0}
