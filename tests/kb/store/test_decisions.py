from datetime import date, timedelta

import pytest

from kb.errors import NotFoundError, StoreError
from kb.store.decisions import About, Plan
from tests.kb.store.other_process import NOW

ABOUT = About(week="2026-W47", row_key="came_back:hvac", said="Three came back.\n3 of 30")
PLAN = Plan(what="Look at the last three", owner="Mara", due=date(2026, 11, 30))


def write(store, verb, at=NOW):
    with store.write("Ines", at) as unit:
        return verb(unit.decisions)


def get(store, decision_id):
    with store.read() as unit:
        return unit.decisions.get(decision_id)


def lines(store):
    with store.read() as unit:
        return [(line.verb, line.what, line.job_id) for line in unit.history.since(0)]


@pytest.fixture
def kept(store):
    return write(store, lambda rows: rows.add(ABOUT, PLAN))


def test_a_decision_comes_back_as_it_was_kept(store, kept):
    found = get(store, kept)
    assert (found.about, found.plan) == (ABOUT, PLAN)
    assert (found.state, found.outcome, found.settled_at) == ("open", "", None)
    assert (found.who, found.at, found.is_open) == ("Ines", NOW, True)


@pytest.mark.parametrize("number", [99, 2**40])
def test_a_number_that_no_decision_has_is_said(store, kept, number):
    with pytest.raises(NotFoundError, match=f"got {number}"):
        get(store, number)


def test_every_write_is_one_line_of_history(store, kept):
    other = Plan(what="Look at all of them", owner="Jon", due=date(2026, 12, 7))
    write(store, lambda rows: rows.change(kept, other))
    assert get(store, kept).plan == other
    write(store, lambda rows: rows.settle(kept, state="done", outcome="two had a loose clamp"))
    settled = get(store, kept)
    assert (settled.state, settled.outcome) == ("done", "two had a loose clamp")
    assert settled.settled_at == NOW
    write(store, lambda rows: rows.reopen(kept))
    again = get(store, kept)
    assert (again.is_open, again.outcome, again.settled_at) == (True, "", None)
    first = f"number {kept}: Look at the last three (Mara, by 2026-11-30); about came_back:hvac"
    assert lines(store) == [
        ("decided", first, None),
        ("decision changed", f"number {kept}: Look at all of them (Jon, by 2026-12-07)", None),
        ("decision done", f"number {kept}: two had a loose clamp", None),
        ("decision taken up again", f"number {kept}", None),
    ]


def test_open_ones_stay_in_sight_and_settled_ones_for_as_long_as_asked(store, kept):
    other = write(store, lambda rows: rows.add(ABOUT, PLAN))
    write(store, lambda rows: rows.settle(other, state="dropped", outcome=""))
    with store.read() as unit:
        late = unit.decisions.open_or_settled_since(NOW + timedelta(seconds=1))
        both = unit.decisions.open_or_settled_since(NOW)
        assert [row.id for row in late] == [kept]
        assert [row.id for row in both] == [kept, other]
        assert [row.id for row in unit.decisions.open_about(ABOUT.row_key)] == [kept]
        assert unit.decisions.open_about("came_back") == ()


def test_a_unit_that_reads_decides_nothing(store, kept):
    with store.read() as unit:
        for verb in (
            lambda: unit.decisions.add(ABOUT, PLAN),
            lambda: unit.decisions.change(kept, PLAN),
            lambda: unit.decisions.reopen(kept),
        ):
            with pytest.raises(StoreError, match=r"Store\.write"):
                verb()
