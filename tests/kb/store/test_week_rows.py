from dataclasses import replace
from datetime import date

from kb.case.model import Origin
from tests.factories import a_case, a_closing, a_job
from tests.kb.store.other_process import NOW


def closed_on(id, day, **changes):  # noqa: A002 - the model's own word
    return a_case(id, closing=a_closing(closed=day), **changes)


def add(store, *jobs):
    with store.write("x", NOW) as unit:
        unit.jobs.add_many(jobs, verb="import")


def test_lines_are_those_of_the_days_asked_oldest_first(store):
    days = [date(2026, 3, day) for day in (1, 2, 8, 9)]
    add(store, *(closed_on(f"J{at}", day) for at, day in enumerate(reversed(days))))
    with store.read() as unit:
        lines = unit.weeks.lines(date(2026, 3, 2), date(2026, 3, 8))
        assert [row.closed for row in lines] == days[1:3]
        assert unit.weeks.first_closed() == days[0]
        assert [job.id for job in unit.weeks.closed(date(2026, 3, 2), date(2026, 3, 8))] == [
            "J1",
            "J2",
        ]


def test_a_line_holds_what_the_job_holds(store):
    job = closed_on("J1", date(2026, 3, 2))
    add(store, job)
    with store.read() as unit:
        (line,) = unit.weeks.lines(date(2026, 3, 2), date(2026, 3, 2))
    assert (line.cause, line.end, line.held) == (job.cause, job.closing.end, job.closing.held)
    assert line.platform == (job.vehicle.make, job.vehicle.model, "")
    assert replace(line, engine="T25P").platform[2] == "T25P"


def test_comebacks_are_found_open_ones_too(store):
    add(store, a_case("J1"), a_job("J2", comeback_of="J1"), a_job("J3"))
    with store.read() as unit:
        assert [job.id for job in unit.weeks.back_in(["J1", "J9"])] == ["J2"]


def test_invented_jobs_are_counted_from_their_first_day(store):
    days = (date(2026, 3, 9), date(2026, 3, 2))
    invented = [a_case(f"V{at}", opened=day, origin=Origin.INVENTED) for at, day in enumerate(days)]
    add(store, a_case("J1", opened=date(2026, 1, 1)), *invented)
    with store.read() as unit:
        assert unit.weeks.invented() == (2, days[1])


def test_an_empty_shop_has_no_first_day(store):
    with store.read() as unit:
        assert unit.weeks.invented() == (0, None)
        assert unit.weeks.first_closed() is None
        assert unit.weeks.first_opened() is None


def test_the_first_day_is_that_of_the_job_that_came_in_first(store):
    first = date(2026, 3, 1)
    add(store, a_job("J1", opened=first), a_job("J2", opened=first.replace(day=9)))
    with store.read() as unit:
        assert unit.weeks.first_opened() == first
