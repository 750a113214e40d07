from dataclasses import replace
from datetime import timedelta

import pytest

from kb.case.model import FixKind, Option, Vehicle
from kb.workflow.week.left_undone import left_undone
from tests.factories import a_case, a_closing, a_job
from tests.kb.workflow.week.test_seen import WEEK, seen_of

__all__ = ["seen_of"]

SUNDAY = WEEK.sunday
BYPASS = Option(what="bypass", chosen=True)
REPLACE = Option(what="fan", kind=FixKind.REPLACED, price_cents=41250)


def ended(id, days=0, *, end="fixed", car=None, since=0, comeback_of=None, **closing):  # noqa: A002
    """Return a job closed ``days`` before the week's Sunday, opened ``since`` days before that."""
    day = SUNDAY - timedelta(days=days)
    return a_case(
        id,
        opened=day - timedelta(days=since),
        vehicle=Vehicle(vin=car),
        comeback_of=comeback_of,
        closing=a_closing(
            closing.pop("cause", "condenser_fan_dead"), closed=day, end=end, **closing
        ),
    )


def declined(id, days=0, **known):  # noqa: A002
    return ended(id, days, **({"end": "declined", "fix": FixKind.DECLINED} | known))


def the_one(seen, job="J1"):
    (found,) = [row for row in left_undone(seen) if row.line.id == job]
    return found


def test_a_shop_where_all_was_repaired_has_nothing_left_undone(seen_of):
    assert left_undone(seen_of(ended("J1"), ended("J2", end="no_fault_found", fix=None))) == ()


def test_only_the_last_52_weeks_are_looked_at(seen_of):
    seen = seen_of(declined("J1", 52 * 7 - 1), declined("J2", 52 * 7), declined("J3", -1))
    assert [row.line.id for row in left_undone(seen)] == ["J1"]


@pytest.mark.parametrize(
    ("known", "was_declined", "was_workaround"),
    [
        ({"end": "declined", "fix": None}, True, False),
        ({"end": "fixed", "fix": FixKind.DECLINED}, True, False),
        ({"end": "declined", "fix": None, "cause": None, "proofs": ()}, False, False),
        ({"end": "declined_before_proof", "fix": None, "proofs": ()}, False, False),
        ({"end": "workaround", "fix": None}, False, True),
        ({"end": "fixed", "fix": FixKind.WORKAROUND}, False, True),
        ({"end": "declined", "options": (replace(BYPASS, kind=FixKind.WORKAROUND),)}, False, True),
        # The choice was written down without its kind.
        ({"end": "workaround", "fix": None, "options": (BYPASS,)}, False, True),
        # Nobody said no: it is left, but not declined.
        ({"end": "referred", "fix": None, "options": (REPLACE,)}, False, False),
    ],
)
def test_how_a_repair_was_left_undone(seen_of, known, was_declined, was_workaround):
    row = the_one(seen_of(ended("J1", **known)))
    assert (row.declined, row.workaround) == (was_declined, was_workaround)


def test_a_repair_that_was_chosen_is_not_left_undone(seen_of):
    chosen = Option(what="fan", kind=FixKind.REPLACED, chosen=True)
    other = Option(what="wait", kind=FixKind.DECLINED)
    assert (
        left_undone(seen_of(ended("J1", end="declined", fix=None, options=(chosen, other)))) == ()
    )


def test_the_price_is_that_of_the_repair_that_was_not_chosen(seen_of):
    dearer = Option(what="all new", kind=FixKind.REPLACED, price_cents=99000)
    unpriced = Option(what="advised")
    no = Option(what="no", kind=FixKind.DECLINED, price_cents=20000, chosen=True)
    seen = seen_of(
        declined("J1", options=(no, REPLACE, dearer)),
        declined("J2", options=(no, unpriced)),
        declined("J3", options=(unpriced,)),
        declined("J4"),
    )
    assert [row.cents for row in left_undone(seen)] == [41250, 20000, None, None]


def test_who_was_told_is_read_from_where_the_close_writes_it(seen_of):
    risk = "Safety repair declined. We advised this. Told of the danger: the owner."
    silent = "Safety repair declined. Who was told is not written down."
    seen = seen_of(
        declined("J1", options=(Option(what="fan", risk=risk),)),
        declined("J2", options=(Option(what="fan", risk=silent),)),
    )
    assert [row.told for row in left_undone(seen)] == [True, False]


# --- what became of the car -----------------------------------------------------------------------


def test_a_car_that_never_came_back_is_not_settled(seen_of):
    row = the_one(seen_of(declined("J1", 30, car="V1"), ended("J2", 3, car="V2")))
    assert (row.visits, row.done, row.settled) == ((), False, False)


def test_the_repair_is_done_when_the_car_came_back_and_the_same_cause_was_fixed(seen_of):
    seen = seen_of(
        declined("J1", 30, car="V1"),
        ended("J2", 20, car="V1", cause="fuse_blown"),
        ended("J3", 3, car="V1"),
    )
    row = the_one(seen)
    assert [visit.job for visit in row.visits] == ["J2", "J3"]
    assert (row.done, row.settled) == (True, True)


def test_a_comeback_counts_without_a_vin(seen_of):
    seen = seen_of(declined("J1", 30), ended("J2", 3, comeback_of="J1", car="V9"))
    assert [visit.job for visit in the_one(seen).visits] == ["J2"]


def test_a_comeback_on_the_very_day_counts(seen_of):
    seen = seen_of(declined("J1", 3), ended("J2", 3, comeback_of="J1"))
    assert [visit.job for visit in the_one(seen).visits] == ["J2"]


def test_an_open_job_that_comes_back_from_a_comeback_is_of_the_same_car(seen_of):
    seen = seen_of(
        declined("J1", 30, car="V1"),
        ended("J2", 10, comeback_of="J1", cause="fuse_blown"),
        a_job("J3", opened=SUNDAY, comeback_of="J2"),
    )
    assert [visit.job for visit in the_one(seen).visits] == ["J2", "J3"]


def test_a_lesser_measure_later_does_not_do_the_repair(seen_of):
    later = ended("J2", 3, car="V1", fix=FixKind.WORKAROUND)
    row = the_one(seen_of(declined("J1", 30, car="V1"), later))
    # The newer job says the same from now on.
    assert (row.done, row.settled) == (False, True)


def test_another_cause_leaves_the_repair_to_do(seen_of):
    seen = seen_of(declined("J1", 30, car="V1"), ended("J2", 3, car="V1", cause="fuse_blown"))
    assert (the_one(seen).done, the_one(seen).settled) == (False, False)


def test_a_repair_declined_again_is_told_once(seen_of):
    seen = seen_of(declined("J1", 30, car="V1"), declined("J2", 3, car="V1"))
    assert [(row.line.id, row.done, row.settled) for row in left_undone(seen)] == [
        ("J1", False, True),
        ("J2", False, False),
    ]


def test_a_cause_that_proved_wrong_leaves_nothing_to_do(seen_of):
    comeback = ended("J2", 3, comeback_of="J1", cause="fuse_blown", end="comeback_other")
    seen = seen_of(declined("J1", 30, overturned_by="J2"), comeback)
    assert (the_one(seen).done, the_one(seen).settled) == (False, True)


def test_another_job_of_the_same_stay_is_no_return(seen_of):
    seen = seen_of(
        declined("J1", 3, car="V1"),
        ended("J2", 3, car="V1"),
        ended("J3", 1, car="V1", since=2),
    )
    assert the_one(seen).visits == ()


def test_nothing_after_the_week_is_looked_at(seen_of):
    tuesday = SUNDAY + timedelta(days=2)
    seen = seen_of(
        declined("J1", 30, car="V1"),
        declined("J2", 30, car="V2", overturned_by="J5"),
        a_job("J3", opened=SUNDAY + timedelta(days=1), vehicle=Vehicle(vin="V1")),
        ended("J4", -2, car="V1"),
        # In the shop on Sunday, closed on Tuesday: what it was closed with is not known yet.
        ended("J5", -2, car="V2", since=4),
    )
    assert the_one(seen).visits == ()
    (visit,) = the_one(seen, "J2").visits
    assert (visit.job, visit.closed, visit.cause) == ("J5", None, None)
    assert (the_one(seen, "J2").done, the_one(seen, "J2").settled) == (False, False)
    later = seen_of(week=WEEK.shifted(1))
    assert the_one(later, "J2").visits[0].closed == tuesday
    assert (the_one(later).done, the_one(later, "J2").done) == (True, True)
