import os
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DatabaseError

from kb.errors import ConflictError, StoreError
from kb.store.engine import default_url, make_engine, open_store, sqlite_file
from kb.store.migrate import upgrade
from tests.factories import a_case, a_job
from tests.kb.store.by_hand import by_hand
from tests.kb.store.other_process import NOW

ROOT = Path(__file__).parents[3]


def another(deed: str, url: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "tests.kb.store.other_process", deed, url]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)


def finish(processes: list[subprocess.Popen[str]]) -> list[int]:
    return [(process.communicate(timeout=180)[0], process.returncode)[1] for process in processes]


@pytest.mark.slow
def test_four_processes_that_read_and_then_write_lose_no_update(store, store_url):
    with store.write("x", NOW) as unit:
        unit.jobs.add(a_job("J1", lines=()), verb="open")
    assert finish([another("increment", store_url) for _ in range(4)]) == [0, 0, 0, 0]
    with store.read() as unit:
        assert len(unit.jobs.get("J1").lines) == 200
        assert len(unit.history.of("J1")) == 201
        assert unit.jobs.revision("J1") == 201
    assert store.generation() == 201


@pytest.mark.slow
def test_no_two_processes_get_the_same_id(store, store_url):
    assert finish([another("take_ids", store_url) for _ in range(3)]) == [0, 0, 0]
    with store.read() as unit:
        assert unit.jobs.ids() == tuple(f"J{number:06d}" for number in range(1, 61))


def test_a_case_closed_by_another_process_is_seen_by_one_already_running(store, store_url):
    with store.write("x", NOW) as unit:
        unit.jobs.add(a_job("J1"), verb="open")
    before = store.generation()
    with store.read() as unit:
        assert unit.jobs.closed_jobs() == ()
        seq = unit.history.last_seq()
    assert finish([another("close_one", store_url)]) == [0]
    assert store.generation() == before + 1
    with store.read() as unit:
        assert unit.jobs.closed_jobs() == (a_case("J1"),)
        assert unit.jobs.closed_since(seq) == (a_case("J1"),)


@pytest.mark.slow
def test_what_was_acknowledged_survives_a_killed_process(store, store_url):
    safe = []
    for _ in range(4):
        process = another("write_until_killed", store_url)
        assert process.stdout is not None
        safe.append(process.stdout.readline().strip())
        time.sleep(0.05)
        process.kill()
        safe += process.communicate()[0].split()
    with store.read() as unit:
        kept = {job.id for job in unit.jobs.closed_jobs()}
        assert set(safe) <= kept
        assert len(kept) <= len(safe) + 4
        assert unit.jobs.verify_hashes() == ()
        assert all(len(unit.history.of(job_id)) == 1 for job_id in kept)
    with store.write("x", NOW) as unit:
        unit.jobs.add(a_job("afterwards"), verb="open")


def test_a_unit_of_work_that_fails_leaves_nothing_behind(store):
    with pytest.raises(ZeroDivisionError), store.write("x", NOW) as unit:  # noqa: PT012
        unit.jobs.add(a_job("J1"), verb="open")
        raise ZeroDivisionError
    with store.read() as unit:
        assert unit.jobs.count() == 0
        assert unit.history.of("J1") == ()
    assert store.generation() == 0


def test_generation_grows_once_for_each_transaction_that_writes_a_job(store):
    with store.write("x", NOW) as unit:
        unit.jobs.add_many([a_job("J1"), a_job("J2")], verb="import")
    assert store.generation() == 1
    with store.write("x", NOW) as unit:
        unit.settings.set("shop", "invented")
    assert store.generation() == 1
    with store.read() as unit:
        unit.jobs.get("J1")
    assert store.generation() == 1


def test_a_reader_sees_one_state_while_others_write(store):
    with store.read() as reader:
        assert reader.jobs.count() == 0
        with store.write("x", NOW) as unit:
            unit.jobs.add(a_job("J1"), verb="open")
        assert reader.jobs.count() == 0
    with store.read() as reader:
        assert reader.jobs.count() == 1


def test_a_reading_inside_another_is_that_one_in_its_own_thread_only(store):
    with store.read() as outer:
        assert outer.jobs.count() == 0
        with store.write("x", NOW) as unit:
            unit.jobs.add(a_job("J1"), verb="open")
        with store.read() as inner:
            assert inner is outer
            assert inner.jobs.count() == 0
        elsewhere: list[int] = []

        def look() -> None:
            with store.read() as unit:
                elsewhere.append(unit.jobs.count())

        thread = threading.Thread(target=look)
        thread.start()
        thread.join()
        assert elsewhere == [1]
    with pytest.raises(ZeroDivisionError), store.read():
        raise ZeroDivisionError
    with store.read() as later:
        assert later is not outer
        assert later.jobs.count() == 1


def test_a_unit_that_reads_cannot_write(store):
    with store.read() as unit:
        writes: list[Callable[[], object]] = [
            lambda: unit.jobs.add(a_job(), verb="open"),
            lambda: unit.jobs.save(a_job(), verb="add"),
            unit.jobs.next_id,
            lambda: unit.history.add("look", None, ""),
            lambda: unit.settings.set("a", "b"),
        ]
        for write in writes:
            with pytest.raises(StoreError, match=r"got Store\.read"):
                write()


def test_a_write_inside_a_write_is_refused_at_once(store):
    with (
        store.write("x", NOW),
        pytest.raises(StoreError, match="one write unit at a time"),
        store.write("x", NOW),
    ):
        pass
    with store.write("x", NOW) as unit:
        assert unit.jobs.count() == 0


def test_threads_queue_for_the_write(store):
    def add() -> None:
        for _ in range(10):
            with store.write("x", NOW) as unit:
                unit.jobs.add(a_job(unit.jobs.next_id()), verb="open")

    threads = [threading.Thread(target=add) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with store.read() as unit:
        assert unit.jobs.count() == 40


def test_a_write_with_little_patience_gives_up_at_once(store, store_url):
    with open_store(store_url) as other, other.write("x", NOW):
        before = time.monotonic()
        with (
            pytest.raises(StoreError, match="nothing was saved"),
            store.write("y", NOW, patience_ms=50),
        ):
            pass
        assert time.monotonic() - before < 5
    with store.write("y", NOW, patience_ms=50) as unit:
        unit.jobs.add(a_job("J1"), verb="open")
    with store.read() as unit:
        assert unit.jobs.get("J1").id == "J1"


def test_times_are_kept_in_utc(store):
    there = timezone(timedelta(hours=-5))
    with store.write("x", datetime(2026, 5, 14, 4, 30, tzinfo=there)) as unit:
        unit.jobs.add(a_job("J1"), verb="open")
    with store.read() as unit:
        (line,) = unit.history.of("J1")
    assert line.at == NOW
    assert line.at.tzinfo is UTC


def test_a_moment_without_a_zone_is_refused(store):
    naive = datetime(2026, 5, 14)  # noqa: DTZ001 - the point of this test
    with pytest.raises(StoreError, match="with a zone"), store.write("x", naive):
        pass


@pytest.mark.sqlite_only("its switches; a PostgreSQL server has its own")
def test_sqlite_runs_with_the_switches_that_keep_what_was_acknowledged(store_url):
    engine = make_engine(store_url)
    with engine.connect() as connection:
        switches = {
            name: connection.scalar(text(f"PRAGMA {name}"))
            for name in ("journal_mode", "synchronous", "foreign_keys", "busy_timeout")
        }
    engine.dispose()
    full = 2
    assert switches == {
        "journal_mode": "wal",
        "synchronous": full,
        "foreign_keys": 1,
        "busy_timeout": 10_000,
    }


def test_a_missing_database_says_what_to_run_and_is_not_made(tmp_path):
    url = default_url(tmp_path)
    with pytest.raises(StoreError, match="got no file; run baybook init"):
        open_store(url)
    assert list(tmp_path.iterdir()) == []


def test_an_empty_file_is_not_taken_for_a_new_shop(tmp_path):
    (tmp_path / "baybook.db").touch()
    with pytest.raises(StoreError, match=r"empty file.*baybook restore.*baybook init"):
        open_store(default_url(tmp_path))


def test_a_database_of_something_else_says_what_to_run(tmp_path):
    with closing(sqlite3.connect(tmp_path / "baybook.db")) as other:
        other.execute("CREATE TABLE birds (name TEXT)")
    with pytest.raises(StoreError, match=r"expected the shop's tables.*baybook init"):
        open_store(default_url(tmp_path))


def test_a_file_that_is_no_database_says_what_to_run(tmp_path):
    (tmp_path / "baybook.db").write_bytes(b"not a database, but long enough " * 40)
    with pytest.raises(StoreError, match="baybook restore"):
        open_store(default_url(tmp_path))


@pytest.mark.sqlite_only("one file that can be cut")
@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_a_database_cut_short_is_refused_and_not_served(store_url, share):
    with open_store(store_url) as store, store.write("x", NOW) as unit:
        unit.jobs.add_many((a_case(f"J{number}") for number in range(50)), verb="import")
    file = sqlite_file(store_url)
    assert file is not None
    os.truncate(file, int(file.stat().st_size * share))
    with pytest.raises(StoreError, match="malformed; restore the last backup"):
        open_store(store_url)


@pytest.mark.parametrize(
    ("found", "advice"), [("0000", "run baybook init"), ("9999", "install the newer Baybook")]
)
def test_a_schema_of_another_time_is_refused(store_url, found, advice):
    by_hand(store_url, "UPDATE alembic_version SET version_num = :found", found=found)
    with pytest.raises(StoreError, match=advice):
        open_store(store_url)


@pytest.mark.parametrize("url", ["not a url", "sqlite://", "nosuchbase://x/y"])
def test_a_url_that_cannot_be_used_says_what_was_expected(url):
    with pytest.raises(StoreError, match="expected a"):
        open_store(url)


def test_a_locked_database_is_told_in_plain_words(store, store_url, monkeypatch):
    monkeypatch.setattr("kb.store.engine.BUSY_MILLISECONDS", 50)
    with open_store(store_url) as other, open_store(store_url) as hasty, other.write("y", NOW):
        refused = pytest.raises(StoreError, match=r"nothing was saved.*lock.*holds.*try again")
        with refused, hasty.write("x", NOW):
            pass
    with store.write("x", NOW) as unit:
        unit.jobs.add(a_job("J1"), verb="open")


@pytest.mark.sqlite_only("a switch of SQLite stands for the disk")
def test_a_full_disk_saves_nothing_and_reads_go_on(store):
    with store.write("x", NOW) as unit:
        unit.jobs.add(a_job("J1"), verb="open")
        pages = unit.connection.scalar(text("PRAGMA page_count"))
    with pytest.raises(StoreError, match="make room"), store.write("x", NOW) as unit:  # noqa: PT012
        unit.connection.execute(text(f"PRAGMA max_page_count = {pages}"))
        unit.jobs.add(a_job("J2", body="x" * 200_000), verb="open")
    with store.read() as unit:
        assert unit.jobs.ids() == ("J1",)


def test_an_error_of_our_own_passes_through_unchanged(store):
    with pytest.raises(ConflictError), store.write("x", NOW) as unit:
        unit.jobs.add_many([a_job("J1"), a_job("J1")], verb="import")


def test_a_home_with_odd_signs_in_its_name_works(tmp_path):
    home = tmp_path / "shop #1 100% & co?"
    upgrade(default_url(home))
    with open_store(default_url(home)) as store:
        assert store.generation() == 0
    assert (home / "baybook.db").is_file()


def test_the_state_is_renewed_by_closed_jobs_only(store):
    empty = store.state()
    with store.write("Ines", NOW) as unit:
        unit.jobs.add(a_job("J1"), verb="open")
    assert store.state() == empty == ""
    with store.write("Ines", NOW) as unit:
        unit.jobs.add(a_case("J2"), verb="import")
    first = store.state()
    with store.write("Ines", NOW) as unit:
        unit.jobs.save(a_case("J2", system="brakes"), verb="edit")
    assert len({empty, first, store.state()}) == 3


def test_a_unit_of_work_names_the_state_that_it_sees(store):
    with store.write("Ines", NOW) as unit:
        unit.jobs.add(a_case("J2"), verb="import")
    with store.read() as unit:
        assert unit.state() == store.state() != ""


def test_an_error_of_the_database_repeats_nothing_that_was_written(store):
    with store.read() as unit, pytest.raises(DatabaseError) as caught:
        unit.connection.execute(text("SELECT :typed FROM nothing"), {"typed": "a secret"})
    assert "a secret" not in str(caught.value)


def test_the_connection_that_was_used_last_is_used_next(store_url):
    engine = make_engine(store_url)
    with engine.connect() as first, engine.connect() as second:
        kept = [one.connection.dbapi_connection for one in (first, second)]
    used = set()
    for _ in range(3):
        with engine.connect() as one:
            used.add(one.connection.dbapi_connection)
    engine.dispose()
    # ``second`` was given back before ``first``.
    assert used == {kept[0]}
