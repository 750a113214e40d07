import contextlib
import time
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from sqlalchemy import Column, event, func, select, update

from kb.case.model import Job, JobState, Origin, Vehicle
from kb.errors import ConflictError, NotFoundError, ParseError, StoreError
from kb.store.columns import Words, table_of
from kb.store.engine import Store
from kb.store.journal import PastLine
from kb.store.rows import FAMILIES, TABLES
from kb.store.tables import ClosingRow, JobRow
from kb.store.unit_of_work import UnitOfWork
from tests.factories import a_case, a_closing, a_full_case, a_job
from tests.kb.store.by_hand import by_hand
from tests.kb.store.other_process import NOW
from tests.kb.strategies import jobs

CONTENT = [
    (table.__tablename__, column.name)
    for table in TABLES
    for column in table_of(table).columns
    if not column.primary_key
    and column.name not in {"content_hash", "revision", "body_html", "seal"}
]
OTHER_VALUE = {"TEXT": "x", "DOUBLE": 0.125, "DATE": date(1999, 9, 9)}


class UndoneError(Exception):
    """Rolls a unit of work back."""


def add(store: Store, *rows: Job, verb: str = "import") -> None:
    with store.write("x", NOW) as unit:
        unit.jobs.add_many(rows, verb=verb)


def other_value(column: Column[Any]) -> Any:
    """Return what differs from what a full case holds in ``column``."""
    kind = str(column.type)
    if isinstance(column.type, Words):
        return ("x",)
    if kind in OTHER_VALUE:
        return OTHER_VALUE[kind]
    return ~column if kind == "BOOLEAN" else func.coalesce(column, 0) + 1


def notices(unit: UnitOfWork, table: str, column: str) -> bool:
    """Say whether the hash of a job notices that one of its columns holds something else."""
    changed = JobRow.metadata.tables[table]
    of = changed.c["id" if table == "jobs" else "job_id"]
    new = {column: other_value(changed.c[column])}
    kept = unit.connection.begin_nested()
    assert unit.connection.execute(update(changed).where(of == "J1").values(new)).rowcount > 0
    found = unit.jobs.verify_hashes()
    kept.rollback()
    return found == ("J1",)


@given(job=jobs(), other=jobs())
@settings(
    max_examples=30,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
def test_every_job_comes_back_from_its_rows_unchanged(store, job, other):
    other = replace(other, id=job.id)
    with contextlib.suppress(UndoneError), store.write("x", NOW) as unit:
        unit.jobs.add(job, verb="open")
        assert unit.jobs.get(job.id) == job
        assert unit.jobs.verify_hashes() == ()
        # Half of it stays, then none: what did not change keeps its rows.
        for changed in (replace(job, lines=other.lines, findings=other.findings), other):
            unit.jobs.save(changed, verb="add")
            assert unit.jobs.get(job.id) == changed
            assert unit.jobs.verify_hashes() == ()
        raise UndoneError


def test_a_case_with_something_in_every_list_comes_back_unchanged(store):
    case = a_full_case()
    add(store, case)
    with store.read() as unit:
        assert unit.jobs.get(case.id) == case
        counts = {
            table: unit.connection.scalar(select(func.count()).select_from(table))
            for table in TABLES
        }
    assert min(counts.values()) > 0


def test_a_job_that_is_not_there_is_not_found(store):
    with store.write("x", NOW) as unit:
        with pytest.raises(NotFoundError, match="'J7'"):
            unit.jobs.get("J7")
        with pytest.raises(NotFoundError, match="'J7'"):
            unit.jobs.save(a_job("J7"), verb="add")
        with pytest.raises(NotFoundError, match="'J7'"):
            unit.jobs.revision("J7")


def test_an_invented_job_is_no_witness(store):
    rows = (a_case("J1"), a_case("J2", origin=Origin.INVENTED))
    add(store, *rows)
    with store.read() as unit:
        assert unit.jobs.closed_jobs() == rows
        assert unit.jobs.witnesses() == rows[:1]


def test_many_past_jobs_are_stored_each_with_its_own_line(store):
    line = PastLine(at=NOW, who="Birte", verb="close")
    jobs = [a_case(f"V{number}") for number in range(3)]
    with store.write("Ana", NOW) as unit:
        unit.jobs.add_past((job, line) for job in jobs)
        assert unit.jobs.closed_written
        with pytest.raises(ConflictError, match="got 'V1'"):
            unit.jobs.add_past([(jobs[1], line)])
    with store.read() as unit:
        assert unit.jobs.ids() == ("V0", "V1", "V2")
        assert [row.who for row in unit.history.since(0)] == ["Birte"] * 3


def test_open_waiting_and_closed_jobs_are_told_apart(store):
    rows = (
        a_job("J1"),
        a_job("J2", state=JobState.WAITING, waits_for="a fan"),
        a_case("J3"),
        a_job("J4", state=JobState.CLOSED, closing=a_closing(None, end="no_fault", proofs=())),
    )
    add(store, *rows)
    with store.read() as unit:
        assert unit.jobs.open_jobs() == rows[:2]
        assert unit.jobs.closed_jobs() == rows[2:]
        assert unit.jobs.witnesses() == rows[2:]
        assert unit.jobs.count() == 4
        assert unit.jobs.ids() == ("J1", "J2", "J3", "J4")


def test_a_job_is_found_by_its_invoice_and_a_car_by_its_vin(store):
    car = Vehicle(vin="11111111111111111")
    rows = a_job("J1", invoice="A-7", vehicle=car), a_job("J2", vehicle=car), a_job("J3")
    add(store, *rows)
    with store.read() as unit:
        assert unit.jobs.by_invoice("A-7") == rows[0]
        assert unit.jobs.by_invoice("A-8") is None
        assert unit.jobs.of_vehicle("11111111111111111") == rows[:2]


def test_the_newest_cases_of_a_cause_are_found_and_the_comebacks_of_a_job(store):
    days = {"J1": 3, "J2": 9, "J3": 6}
    cases = [
        a_case(key, closing=a_closing("overcharge", closed=date(2026, 5, day)))
        for key, day in days.items()
    ]
    add(store, *cases, a_case("J4", comeback_of="J1"), a_job("J5", comeback_of="J1"))
    late = a_closing("overcharge", closed=date(2026, 5, 20))
    add(store, a_case("P1", closing=late, origin=Origin.ANOTHER_SHOP))
    with store.read() as unit:
        assert {job.id for job in unit.jobs.of_cause("overcharge", most=2)} == {"J2", "J3"}
        assert unit.jobs.of_cause("low_charge_leak_hose", most=2) == ()
        assert [job.id for job in unit.jobs.comebacks_of("J1")] == ["J4", "J5"]
        assert unit.jobs.comebacks_of("J2") == ()


def test_closed_since_holds_what_was_closed_or_changed_after_a_line(store):
    add(store, a_case("J1"), a_case("J2"), a_job("J3"))
    with store.read() as unit:
        seq = unit.history.last_seq()
        assert [job.id for job in unit.jobs.closed_since(0)] == ["J1", "J2"]
        assert unit.jobs.closed_since(seq) == ()
    with store.write("x", NOW) as unit:
        unit.jobs.save(a_case("J2", body="corrected"), verb="correct")
        unit.jobs.save(a_case("J3"), verb="close")
    with store.read() as unit:
        assert [job.id for job in unit.jobs.closed_since(seq)] == ["J2", "J3"]


def test_every_write_of_a_job_writes_exactly_one_line_of_history(store):
    with store.write("Ana", NOW) as unit:
        unit.jobs.add(a_job("J1"), verb="open", what="blows warm")
        unit.jobs.save(a_job("J1", body="x"), verb="add", what="61 degF")
        unit.jobs.add_many([a_job("J2"), a_job("J3")], verb="import", what="old records")
        lines = unit.history.since(0)
    assert [(line.who, line.verb, line.job_id, line.what) for line in lines] == [
        ("Ana", "open", "J1", "blows warm"),
        ("Ana", "add", "J1", "61 degF"),
        ("Ana", "import", "J2", "old records"),
        ("Ana", "import", "J3", "old records"),
    ]
    assert [line.seq for line in lines] == [1, 2, 3, 4]


def test_ids_are_counted_upwards_and_skip_those_taken(store):
    add(store, a_job("J000002"))
    with store.write("x", NOW) as unit:
        assert [unit.jobs.next_id() for _ in range(3)] == ["J000001", "J000003", "J000004"]


def test_a_writer_who_saw_an_older_revision_overwrites_nothing(store):
    add(store, a_job("J1", body="first"))
    with store.read() as unit:
        seen = unit.jobs.revision("J1")
    with store.write("Ana", NOW) as unit:
        unit.jobs.save(a_job("J1", body="Ana"), verb="add", expected_revision=seen)
    with (
        pytest.raises(ConflictError, match="expected job J1 at revision 1, got 2"),
        store.write("Ben", NOW) as unit,
    ):
        unit.jobs.save(a_job("J1", body="Ben"), verb="add", expected_revision=seen)
    with store.read() as unit:
        assert unit.jobs.get("J1").body == "Ana"
        assert [line.who for line in unit.history.of("J1")] == ["x", "Ana"]


@pytest.mark.parametrize("twin", [a_job("J1"), a_job("J9", invoice="A-7")], ids=["id", "invoice"])
def test_an_id_or_an_invoice_number_is_taken_once(store, twin):
    add(store, a_job("J1", invoice="A-7"))
    with pytest.raises(ConflictError, match="no other job has"):
        add(store, twin)
    with store.read() as unit:
        assert unit.jobs.count() == 1


def test_an_invoice_number_twice_in_one_import_is_refused(store):
    with pytest.raises(ConflictError, match="'A-7'"):
        add(store, a_job("J1", invoice="A-7"), a_job("J2", invoice="A-7"))
    with store.read() as unit:
        assert unit.jobs.count() == 0


def test_a_saved_job_may_keep_its_invoice_number_but_not_take_anothers(store):
    add(store, a_job("J1", invoice="A-7"), a_job("J2"))
    with store.write("x", NOW) as unit:
        unit.jobs.save(a_job("J1", invoice="A-7", body="x"), verb="add")
        with pytest.raises(ConflictError, match=r"invoice.*'A-7'"):
            unit.jobs.save(a_job("J2", invoice="A-7"), verb="add")


def test_many_jobs_may_have_no_invoice_number(store):
    add(store, a_job("J1"), a_job("J2"))
    with store.read() as unit:
        assert [job.invoice for job in unit.jobs.open_jobs()] == [None, None]


def test_a_reopened_job_leaves_no_row_of_its_closing(store):
    case = a_full_case("J1")
    add(store, case)
    with store.write("x", NOW) as unit:
        unit.jobs.save(a_job("J1", symptoms=(), lines=()), verb="reopen")
        left = {
            table.__tablename__
            for table in TABLES
            if unit.connection.scalar(select(func.count()).select_from(table))
        }
    assert left == {"jobs"}


def test_half_a_character_is_refused_before_anything_is_written(store):
    with pytest.raises(ParseError, match=r"job J1.*type the text again"):
        add(store, a_job("J1", body="\ud800"))
    with store.read() as unit:
        assert unit.jobs.count() == 0


def test_the_hash_notices_a_change_in_any_column(store):
    add(store, a_full_case("J1"), a_full_case("J2"))
    with contextlib.suppress(UndoneError), store.write("x", NOW) as unit:
        unnoticed = [place for place in CONTENT if not notices(unit, *place)]
        assert unit.jobs.verify_hashes() == ()
        raise UndoneError
    assert unnoticed == []
    assert len(CONTENT) > 80


@pytest.mark.parametrize("table", FAMILIES, ids=lambda table: table.__tablename__)
def test_the_hash_notices_a_row_that_is_gone(store, store_url, table):
    add(store, a_full_case("J1"), a_full_case("J2"))
    by_hand(store_url, f"DELETE FROM {table.__tablename__} WHERE job_id = 'J2'")
    with store.read() as unit:
        assert unit.jobs.verify_hashes() == ("J2",)


def test_rows_that_no_job_can_hold_are_told_in_plain_words(store, store_url):
    add(store, a_case("J1"))
    by_hand(store_url, "UPDATE jobs SET state = 'asleep'")
    with store.read() as unit, pytest.raises(StoreError, match=r"J1 as written.*baybook doctor"):
        unit.jobs.get("J1")


def test_a_job_takes_everything_below_it_when_it_goes(store):
    add(store, a_full_case("J1"))
    with store.write("x", NOW) as unit:
        unit.connection.execute(table_of(JobRow).delete())
        for table in TABLES:
            assert unit.connection.scalar(select(func.count()).select_from(table)) == 0
        assert len(unit.history.of("J1")) == 1


def test_a_row_without_its_job_is_refused(store):
    with pytest.raises(StoreError, match=r"(?i)foreign key"), store.write("x", NOW) as unit:
        unit.connection.execute(
            table_of(ClosingRow).insert(),
            {
                "job_id": "J404",
                "closed": date(2026, 5, 14),
                "end": "fixed",
                "fix_text": "",
                "held": False,
                "lesson": "",
            },
        )
    with store.read() as unit:
        assert unit.connection.scalar(select(func.count()).select_from(ClosingRow)) == 0


@pytest.mark.slow
def test_five_thousand_jobs_are_stored_and_loaded_in_seconds(store):
    start = time.process_time()
    add(store, *(a_case(f"J{number:06d}") for number in range(5000)))
    assert time.process_time() - start < 10
    start = time.process_time()
    with store.read() as unit:
        assert len(unit.jobs.closed_jobs()) == 5000
    assert time.process_time() - start < 3


def test_closed_jobs_takes_the_same_number_of_queries_for_any_number_of_jobs(store):
    def queries_for() -> int:
        asked: list[str] = []
        with store.read() as unit:
            event.listen(
                unit.connection.engine, "before_cursor_execute", lambda *args: asked.append(args[2])
            )
            unit.jobs.closed_jobs()
        return len(asked)

    add(store, a_full_case("J1"))
    few = queries_for()
    add(store, *(a_full_case(f"K{number}") for number in range(30)))
    assert queries_for() == few <= 20


def test_some_jobs_come_at_once_and_unknown_ids_are_left_out(store):
    with store.write("x", NOW) as unit:
        unit.jobs.add_many([a_job(f"J{number}") for number in range(4)], verb="open")
    with store.read() as unit:
        assert [job.id for job in unit.jobs.some(("J3", "J1", "J404"))] == ["J1", "J3"]
        assert unit.jobs.some(()) == ()
