from dataclasses import replace
from datetime import date

from kb.case.model import Complaint, Finding, Origin, Phase, Polarity, ReadingSet, Symptom
from kb.case.parts import FittedPart
from tests.factories import a_case, a_closing, a_job, a_reading
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
    assert replace(line, year=2014, engine="T25P").car == f"2014 {line.make} {line.model} T25P"
    assert replace(line, year=None, make=None, model=None, engine=None).car == ""


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
        assert not unit.weeks.any_opened_before(date.max)


def test_the_first_day_is_that_of_the_job_that_came_in_first(store):
    first = date(2026, 3, 1)
    add(store, a_job("J1", opened=first), a_job("J2", opened=first.replace(day=9)))
    with store.read() as unit:
        assert unit.weeks.first_opened() == first
        assert not unit.weeks.any_opened_before(first)
        assert unit.weeks.any_opened_before(first.replace(day=2))


def test_minutes_are_those_of_the_findings_that_have_them(store):
    findings = (
        Finding(check="cap_test", outcome="seals", minutes=4.0),
        Finding(check="fan", outcome="ok"),
    )
    add(
        store,
        closed_on("J1", date(2026, 3, 2), findings=findings),
        closed_on("J2", date(2026, 3, 3), findings=findings),
    )
    with store.read() as unit:
        found = unit.weeks.minutes(date(2026, 3, 2), date(2026, 3, 2))
    assert found == (("J1", "cap_test", 4.0),)


def test_cases_before_a_day_are_those_that_stand_and_are_not_invented(store):
    day = date(2026, 3, 2)
    overturned = a_closing(closed=day, overturned_by="J1")
    add(
        store,
        closed_on("J1", date(2026, 3, 3)),
        closed_on("J2", day),
        closed_on("J3", date(2026, 3, 1)),
        a_case("J4", closing=overturned),
        closed_on("J5", day, origin=Origin.INVENTED),
        a_case("J6", closing=a_closing(None, closed=day)),
    )
    with store.read() as unit:
        found = unit.weeks.cases_before(date(2026, 3, 3))
    assert list(found.items()) == [("J3", "condenser_fan_dead"), ("J2", "condenser_fan_dead")]


def test_comebacks_are_seen_as_they_stood_on_the_day(store):
    add(
        store,
        closed_on("J1", date(2026, 3, 2)),
        closed_on("J2", date(2026, 3, 20), opened=date(2026, 3, 10), comeback_of="J1"),
        a_job("J3", opened=date(2026, 3, 12), comeback_of="J2"),
    )
    with store.read() as unit:
        assert unit.weeks.comebacks(date(2026, 3, 9)) == ()
        (then,) = unit.weeks.comebacks(date(2026, 3, 11))
        assert (then.id, then.of, then.closed, then.cause) == ("J2", "J1", None, None)
        later = unit.weeks.comebacks(date(2026, 3, 20))
    assert [(row.id, row.of) for row in later] == [("J2", "J1"), ("J3", "J2")]
    assert (later[0].closed, later[0].cause) == (date(2026, 3, 20), "condenser_fan_dead")
    assert (later[1].closed, later[1].cause) == (None, None)


def test_symptoms_are_those_that_were_there_once_a_job(store):
    there = Symptom(text="warm", concept="ac_not_cold")
    gone = Symptom(text="no noise", concept="fan_noise", polarity=Polarity.NO)
    rows = (there, there, gone, Symptom(text="odd"))
    add(
        store,
        closed_on("J1", date(2026, 3, 2), symptoms=rows),
        closed_on("J2", date(2026, 3, 9), symptoms=(there,)),
    )
    with store.read() as unit:
        assert unit.weeks.symptoms(date(2026, 3, 2), date(2026, 3, 8)) == (("J1", "ac_not_cold"),)


def test_parts_are_those_of_the_days_asked(store):
    fan = FittedPart(part="condenser fan", supplier="Northgate", lot="2631")
    plug = FittedPart(part="plug")
    for at, day in enumerate((date(2026, 3, 2), date(2026, 3, 9))):
        closing = a_closing(closed=day, parts=(fan, plug))
        add(store, a_case(f"J{at}", closing=closing))
    with store.read() as unit:
        found = unit.weeks.parts(date(2026, 3, 2), date(2026, 3, 8))
    assert found == (("J0", fan), ("J0", plug))


def test_what_was_said_of_the_jobs_of_some_days_is_read_lean(store):
    said = Complaint(said="blows warm")
    add(
        store,
        closed_on("J1", date(2026, 3, 2), complaint=said, lines=("blows warm", "fan silent")),
        closed_on("J2", date(2026, 3, 8), complaint=said, lines=()),
        closed_on("J3", date(2026, 3, 9)),
        a_job("J4", opened=date(2026, 3, 3)),
    )
    with store.read() as unit:
        told = unit.weeks.said(date(2026, 3, 2), date(2026, 3, 8))
    assert told == ("blows warm\nfan silent", "blows warm")


def test_readings_of_some_quantities_are_read_lean(store):
    values = [a_reading(typed=text) for text in ("61", "over 70", "open")]
    low = a_reading(quantity="low_side_pressure", typed="30", unit="psi")
    sets = (
        ReadingSet(phase=Phase.BEFORE, readings=(*values, low)),
        ReadingSet(phase=Phase.AFTER, readings=(a_reading(typed="44"),)),
    )
    day = date(2026, 3, 2)
    add(
        store,
        closed_on("J1", day, reading_sets=sets),
        closed_on("J2", date(2026, 3, 3), reading_sets=sets),
        a_job("J3", reading_sets=sets),
    )
    with store.read() as unit:
        (row,) = unit.weeks.readings(day, day, phase=Phase.BEFORE, quantities={"vent_temp"})
        (after,) = unit.weeks.readings(day, day, phase=Phase.AFTER, quantities={"vent_temp"})
    assert (row.job, row.quantity, row.value) == ("J1", "vent_temp", values[0].canonical)
    assert (row.system, row.make, row.model, row.engine) == ("hvac", "Dunmarrow", "Packhorse", None)
    assert after.value == a_reading(typed="44").canonical


def test_what_another_shop_did_is_counted_in_no_week(store):
    day = date(2026, 3, 2)
    early = date(2020, 1, 6)
    elsewhere = [
        replace(closed_on(f"P{at}", early, origin=origin), opened=early)
        for at, origin in enumerate((Origin.ANOTHER_SHOP, Origin.CONFIRMED_HERE))
    ]
    add(store, closed_on("J1", day), *elsewhere)
    with store.read() as unit:
        assert [row.id for row in unit.weeks.lines(early, day)] == ["J1"]
        assert [job.id for job in unit.weeks.closed(early, day)] == ["J1"]
        assert unit.weeks.first_closed() == day
        opened = closed_on("J1", day).opened
        assert unit.weeks.first_opened() == opened
        assert not unit.weeks.any_opened_before(opened)
        assert set(unit.weeks.cases_before(date(2027, 1, 1))) == {"J1", "P0", "P1"}
