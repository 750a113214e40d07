from datetime import UTC, date, datetime, timedelta

from kb.case.model import (
    AfterCheck,
    Finding,
    FixKind,
    JobState,
    Option,
    Phase,
    Proof,
    ReadingSet,
    Tried,
    Vehicle,
)
from tests.factories import a_case, a_closing, a_job, a_reading
from tests.kb.store.other_process import NOW

FIRST, LAST = date(2026, 3, 2), date(2026, 3, 8)
AGAIN = ReadingSet(phase=Phase.AFTER, readings=(a_reading(),))
REPAIRED, UNDONE = ("fixed",), (FixKind.DECLINED, FixKind.WORKAROUND)


def add(store, *jobs):
    with store.write("x", NOW) as unit:
        unit.jobs.add_many(jobs, verb="import")


def closed(id, day=FIRST, *, cause="condenser_fan_dead", job=None, **changes):  # noqa: A002
    return a_case(id, closing=a_closing(cause, closed=day, **changes), **(job or {}))


def left(store, *jobs):
    add(store, *jobs)
    with store.read() as unit:
        return unit.week_records.maybe_left(FIRST, LAST, repaired=REPAIRED, undone=UNDONE)


def test_what_is_written_down_of_the_jobs_of_the_days_asked(store):
    sets = (ReadingSet(readings=(a_reading(),)), AGAIN, AGAIN)
    proofs = (Proof(method="inferred"), Proof(method="seen"))
    checks = (AfterCheck(kind="same_drive"),)
    add(
        store,
        closed("J1", FIRST - timedelta(1)),
        closed("J2", FIRST, proofs=proofs, after_checks=checks, job={"reading_sets": sets}),
        closed("J3", LAST, cause=None, proofs=(), fix=None, fix_text="", end="no_fault_found"),
        closed("J4", LAST + timedelta(1)),
    )
    with store.read() as unit:
        full, empty = unit.week_records.held_in(FIRST, LAST)
    names = ("before", "after", "proven", "shown", "fix", "holds", "is_case")
    assert [full.id, *(getattr(full, name) for name in names)] == ["J2", *[True] * 7]
    assert [empty.id, *(getattr(empty, name) for name in names)] == ["J3", *[False] * 7]


def test_what_was_only_inferred_is_proven_and_not_shown(store):
    add(store, closed("J1", proofs=(Proof(method="inferred"),), fix=None, fix_text="cleaned"))
    with store.read() as unit:
        (row,) = unit.week_records.held_in(FIRST, LAST)
    assert (row.proven, row.shown, row.is_case, row.fix) == (True, False, True, True)


def test_parts_that_did_not_cure_keep_what_is_missing_missing(store):
    parts = (Tried(part="Fan relay", cost_cents=0), Tried(part="fuse", minutes=5.0))
    add(store, closed("J1", job={"tried": parts}), a_job("J2", tried=parts))
    with store.read() as unit:
        rows = unit.week_records.tried(FIRST, LAST)
    assert [(row.job, row.part, row.cost_cents, row.minutes) for row in rows] == [
        ("J1", "Fan relay", 0, None),
        ("J1", "fuse", None, 5.0),
    ]


def test_jobs_that_may_be_left_undone_are_known_by_end_by_fix_or_by_choice(store):
    no = Option(what="not now", kind=FixKind.DECLINED, chosen=True)
    yes = Option(what="fan", kind=FixKind.REPLACED, price_cents=41250, chosen=True)
    found = left(
        store,
        closed("J1"),
        closed("J2", end="declined", proofs=(), fix=None),
        closed("J3", fix=FixKind.WORKAROUND, until=date(2026, 4, 1)),
        closed("J4", options=(yes, no)),
        closed("J5", options=(yes,)),
        closed("J6", LAST + timedelta(1), end="declined"),
    )
    assert [(row.id, row.fix, row.until, row.proven, row.options) for row in found] == [
        ("J2", None, None, False, ()),
        ("J3", FixKind.WORKAROUND, date(2026, 4, 1), True, ()),
        ("J4", FixKind.REPLACED, None, True, (yes, no)),
    ]


def test_a_job_closed_later_was_open_then(store):
    add(
        store,
        a_job("J1", opened=FIRST, comeback_of="J0", vehicle=Vehicle(vin="V1")),
        a_job("J2", opened=FIRST - timedelta(1), state=JobState.WAITING, waits_for="parts",
              findings=(Finding(check="fuse_check", outcome="ok"),)),
        a_job("J3", opened=LAST + timedelta(1)),
        closed("J4", LAST + timedelta(1), job={"opened": LAST}),
        closed("J5", LAST, job={"opened": FIRST}),
    )  # fmt: skip
    with store.read() as unit:
        rows = unit.week_records.open_lines(LAST)
    assert [(row.id, row.closed, row.waits_for, row.checked) for row in rows] == [
        ("J2", None, "parts", True),
        ("J1", None, None, False),
        ("J4", LAST + timedelta(1), None, False),
    ]
    assert (rows[1].comeback_of, rows[1].vin) == ("J0", "V1")


def test_what_a_job_was_said_to_wait_for_is_told_in_order(store):
    at = datetime(2026, 3, 3, tzinfo=UTC)
    add(store, a_job("J1"), a_job("J2"))
    told_of = ((0, "J1", "wait"), (1, "J1", "wait"), (2, "J1", "add"), (3, "J2", "wait"))
    for days, job, verb in told_of:
        with store.write("Ines", at + timedelta(days=days)) as unit:
            unit.history.add(verb, job, f"{verb} {days}")
    with store.read() as unit:
        told = unit.week_records.waits(["J1"])
    assert told == (("J1", at, "wait 0"), ("J1", at + timedelta(days=1), "wait 1"))


def test_people_are_counted_without_their_names(store):
    add(store, closed("J0", job={"reading_sets": (AGAIN,)}), closed("J9"))
    for who, job, sets in (("Zoe", "J1", (AGAIN,)), ("Zoe", "J2", ()), ("Ann", "J3", (AGAIN,))):
        with store.write(who, NOW) as unit:
            unit.jobs.add(closed(job, job={"reading_sets": sets}), verb="close")
    with store.write("Zoe", NOW) as unit:
        unit.jobs.add(closed("J4", cause=None, proofs=()), verb="close")
        unit.jobs.add(closed("J5", LAST + timedelta(1)), verb="close")
        # Who closed it last, closed it.
        unit.history.add("close", "J3", "again")
    with store.read() as unit:
        assert unit.week_records.read_again_by_person(FIRST, LAST) == ((2, 3),)
    with store.write("Ann", NOW) as unit:
        unit.jobs.add(closed("J6"), verb="close")
    with store.read() as unit:
        assert unit.week_records.read_again_by_person(FIRST, LAST) == ((0, 1), (2, 3))
