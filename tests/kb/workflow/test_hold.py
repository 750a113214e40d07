from dataclasses import replace
from datetime import date, timedelta

import pytest

from kb.case.model import Proof, Standing
from kb.case.standing import standing_of
from kb.workflow import hold
from kb.workflow.hold import DEFAULT_DAYS, HOLDING_DAYS, mark_held, may_hold, qualifying
from tests.factories import a_case, a_closing, a_job

TODAY = date(2026, 11, 23)
OLD = TODAY - timedelta(days=DEFAULT_DAYS)
YOUNG = OLD + timedelta(days=1)


def came_and_went(case_id, closed=OLD, **changes):
    proofs = (Proof(method="came_and_went", text="gone with the new fan"),)
    return a_case(case_id, closing=a_closing(closed=closed, proofs=proofs, **changes))


def put(shop, *jobs):
    shop.write(lambda unit: unit.jobs.add_many(jobs, verb="import"))


def marked(shop, *ids):
    return shop.write(mark_held, ids, today=TODAY)


def test_a_repair_past_its_period_is_held_and_proven_by_it(shop):
    put(shop, came_and_went("J1"))
    assert standing_of(shop.get("J1")) is Standing.LIKELY
    assert marked(shop, "J1") == ("J1",)
    assert standing_of(shop.get("J1")) is Standing.PROVEN
    line = shop.history("J1")[-1]
    assert (line.who, line.verb, line.what) == ("Ines", "held", "no comeback in 90 days")


def test_held_once_it_is_not_written_again(shop):
    put(shop, came_and_went("J1"))
    marked(shop, "J1")
    before = shop.history("J1")
    assert marked(shop, "J1") == ()
    assert shop.history("J1") == before


@pytest.mark.parametrize(
    "changes",
    [
        {"closed": YOUNG},
        {"end": "workaround"},
        {"end": "declined"},
        {"cause": None, "end": "no_fault_found", "proofs": ()},
        {"overturned_by": "J9"},
    ],
    ids=["too young", "work-around", "declined", "no cause", "overturned"],
)
def test_what_cannot_have_held_stays_as_it_is(shop, changes):
    closing = replace(came_and_went("J1").closing, **changes)
    put(shop, a_case("J1", closing=closing))
    assert marked(shop, "J1") == ()
    assert not shop.get("J1").closing.held


def test_a_car_that_is_back_in_did_not_hold_even_while_its_job_is_open(shop):
    put(shop, came_and_went("J1"), came_and_went("J2"), a_job("J3", comeback_of="J1"))
    assert marked(shop, "J1", "J2", "J3", "J404") == ("J2",)


def test_the_oldest_are_marked_first_where_there_are_too_many_for_one_press(shop, monkeypatch):
    monkeypatch.setattr(hold, "MOST_AT_ONCE", 2)
    days = (3, 1, 2)
    put(shop, *(came_and_went(f"J{at}", OLD - timedelta(days=at)) for at in days))
    assert marked(shop, "J1", "J2", "J3") == ("J3", "J2")
    assert marked(shop, "J1", "J2", "J3") == ("J1",)


def test_the_shop_sets_its_own_period(shop):
    put(shop, came_and_went("J1"))
    shop.write(lambda unit: unit.settings.set(HOLDING_DAYS, "120"))
    with shop.store.read() as unit:
        assert qualifying(unit, ["J1"], today=TODAY) == ()
        assert qualifying(unit, ["J1"], today=TODAY + timedelta(days=30)) == ("J1",)
        (line,) = unit.weeks.lines_of(["J1"])
    assert may_hold(line, TODAY, 90)
    assert not may_hold(line, TODAY, 91)
