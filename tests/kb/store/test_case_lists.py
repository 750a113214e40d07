from dataclasses import replace
from datetime import date

import pytest

from kb.case.model import JobState, Origin, Proof, Vehicle
from kb.store.case_lists import PAGE_SIZE, CaseFilter
from tests.factories import a_case, a_closing, a_job
from tests.kb.store.other_process import NOW

COPSE = Vehicle(year=2016, make="Pellarin", model="Copse", engine="P20P", family="Copse platform")
CASES = (
    a_case("C1", vehicle=COPSE, closing=a_closing("condenser_fan_dead", closed=date(2026, 5, 1))),
    a_case(
        "C2",
        system=None,
        vehicle=replace(COPSE, year=2018, model="Cop%e"),
        closing=a_closing(
            "low_charge_leak",
            closed=date(2026, 5, 2),
            proofs=(Proof(method="measured"), Proof(method="moved")),
        ),
    ),
    a_case(
        "C3",
        system="starting_charging",
        closing=a_closing(
            "starter_worn", second_cause="low_charge_leak", closed=date(2026, 5, 3), proofs=()
        ),
    ),
)


@pytest.fixture
def cases(store):
    with store.write("Ines", NOW) as unit:
        unit.jobs.add_many((*CASES, a_job("J1", vehicle=COPSE)), verb="import")
    return store


@pytest.mark.parametrize(
    ("wanted", "ids"),
    [
        ({}, {"C1", "C2", "C3"}),
        ({"system": "hvac"}, {"C1"}),
        ({"system": "hvac", "system_causes": ("low_charge_leak", "starter_worn")}, {"C1", "C2"}),
        ({"vehicle": "pellarin 2016"}, {"C1"}),
        ({"vehicle": "copse PLATFORM"}, {"C1", "C2"}),
        ({"vehicle": "cop%e"}, {"C2"}),
        ({"vehicle": "zorble"}, set()),
        ({"cause": "low_charge_leak"}, {"C2", "C3"}),
        ({"method": "moved"}, {"C2"}),
        ({"method": "seen"}, {"C1"}),
        ({"closed_from": date(2026, 5, 2)}, {"C2", "C3"}),
        ({"closed_from": date(2026, 5, 2), "closed_to": date(2026, 5, 2)}, {"C2"}),
        ({"cause": "low_charge_leak", "method": "measured", "vehicle": "2018"}, {"C2"}),
    ],
)
def test_only_the_closed_cases_that_are_wanted_are_found(cases, wanted, ids):
    with cases.read() as unit:
        assert unit.case_lists.ids(CaseFilter(**wanted)) == ids
        assert {row.id for row in unit.case_lists.page(CaseFilter(**wanted)).lines} == ids
    assert CaseFilter(**wanted).active == bool(wanted)


def test_a_list_comes_newest_first_with_what_a_line_says(cases):
    with cases.read() as unit:
        page = unit.case_lists.page(CaseFilter())
    assert [row.id for row in page.lines] == ["C3", "C2", "C1"]
    last = page.lines[-1]
    assert (last.closed, last.cause, last.said) == (
        date(2026, 5, 1),
        "condenser_fan_dead",
        "blows warm at lights",
    )
    assert last.vehicle == replace(COPSE, family=None)


def test_a_long_list_comes_in_pages_without_gap_or_double(store):
    many = [a_case(f"C{number:03d}") for number in range(2 * PAGE_SIZE + 3)]
    with store.write("Ines", NOW) as unit:
        unit.jobs.add_many(many, verb="import")
    with store.read() as unit:
        pages = [unit.case_lists.page(CaseFilter(), number) for number in (1, 2, 3)]
        assert unit.case_lists.page(CaseFilter(), 99) == pages[-1]
        assert unit.case_lists.page(CaseFilter(), 0) == pages[0]
    assert [len(page.lines) for page in pages] == [PAGE_SIZE, PAGE_SIZE, 3]
    assert sorted(row.id for page in pages for row in page.lines) == [job.id for job in many]
    assert (pages[0].pages, pages[0].total) == (3, len(many))


def test_a_list_says_which_cases_are_invented(store):
    with store.write("Ines", NOW) as unit:
        unit.jobs.add_many([a_case("C1"), a_case("V1", origin=Origin.INVENTED)], verb="import")
    with store.read() as unit:
        lines = unit.case_lists.page(CaseFilter()).lines
    assert {row.id: row.origin for row in lines} == {"C1": Origin.SHOP, "V1": Origin.INVENTED}


def test_an_empty_list_is_one_page(store):
    with store.read() as unit:
        page = unit.case_lists.page(CaseFilter(cause="x"), 4)
    assert (page.lines, page.number, page.pages, page.total) == ((), 1, 1, 0)


def test_a_list_that_was_kept_follows_every_write_of_a_closed_case(cases):
    def seen():
        with cases.read() as unit:
            wanted = CaseFilter(system="hvac")
            return [row.id for row in unit.case_lists.page(wanted).lines], unit.case_lists.ids(
                wanted
            )

    def write(job):
        with cases.write("Ines", NOW) as unit:
            unit.jobs.save(job, verb="change")
            return [row.id for row in unit.case_lists.page(CaseFilter(system="hvac")).lines]

    assert seen() == seen() == (["C1"], {"C1"})
    assert write(replace(CASES[1], system="hvac")) == ["C2", "C1"]
    assert seen() == (["C2", "C1"], {"C1", "C2"})
    assert write(replace(CASES[0], state=JobState.OPEN, closing=None)) == ["C2"]
    assert seen() == (["C2"], {"C2"})
