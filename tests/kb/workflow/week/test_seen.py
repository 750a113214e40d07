from contextlib import ExitStack
from datetime import date, timedelta

import pytest

from kb.case.iso_week import IsoWeek
from kb.case.terms import load_vocabulary
from kb.workflow.week.seen import RECENT, Seen
from tests.factories import a_case, a_closing, a_job
from tests.kb.store.other_process import NOW

WEEK = IsoWeek(date(2026, 11, 16))


@pytest.fixture
def seen_of(store):
    """Return a function that stores jobs and looks at the week."""

    def look(*jobs, week=WEEK):
        with store.write("x", NOW) as unit:
            unit.jobs.add_many(jobs, verb="import")
        return Seen(unit=unit_of(store), week=week, words=load_vocabulary())

    opened = ExitStack()

    def unit_of(store):
        # A unit inside another one would see the jobs of before.
        opened.close()
        return opened.enter_context(store.read())

    yield look
    opened.close()


def closed(id, days_before_sunday, **changes):  # noqa: A002 - the model's own word
    day = WEEK.sunday - timedelta(days=days_before_sunday)
    return a_case(id, closing=a_closing(closed=day), **changes)


def test_each_view_holds_the_jobs_of_its_weeks(seen_of):
    recent = 7 * RECENT
    seen = seen_of(
        closed("J1", -1),
        closed("J2", 0),
        closed("J3", 6),
        closed("J4", 7),
        closed("J5", recent - 1),
        closed("J6", recent),
    )
    assert [row.id for row in seen.lines] == ["J6", "J5", "J4", "J3", "J2"]
    assert [row.id for row in seen.recent_lines] == ["J5", "J4", "J3", "J2"]
    assert {job.id for job in seen.jobs} == {"J2", "J3", "J4", "J5"}
    assert {job.id for job in seen.week_jobs} == {"J2", "J3"}
    assert seen.length == RECENT + 1
    assert [seen.at(row) for row in seen.lines] == [0, 1, 7, 8, 8]


def test_a_car_is_named_by_its_vin_or_by_the_first_job_of_its_chain(seen_of):
    seen = seen_of(
        closed("J1", 40),
        closed("J2", 20, comeback_of="J1"),
        closed("J3", 3, comeback_of="J2"),
        closed("J4", 2, comeback_of="J0"),
        closed("J5", 1),
    )
    assert seen.vehicles == {"J1": "J1", "J2": "J1", "J3": "J1", "J4": "J0", "J5": "J5"}


def test_an_empty_shop_is_looked_at_without_a_fault(seen_of):
    seen = seen_of(a_job("J1", opened=WEEK.monday))
    assert (seen.lines, seen.jobs, seen.length, seen.first_week) == ((), (), 0, None)
