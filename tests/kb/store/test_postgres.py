import subprocess
import threading

import pytest
from sqlalchemy import text
from sqlalchemy.exc import DBAPIError

from kb.case.model import Vehicle
from kb.errors import NotFoundError, ParseError, StoreError
from kb.store.case_lists import CaseFilter
from kb.store.engine import begin, make_engine, open_store
from kb.store.migrate import schema_revision, upgrade
from kb.store.tables import SCHEMA_REVISION
from tests.factories import a_case, a_full_case, a_job
from tests.kb.store.other_process import NOW
from tests.postgres import OLD_SIGNS

NOT_BY_SIGNS = """
    SELECT table_name, column_name FROM information_schema.columns
    WHERE table_schema = 'public' AND data_type = 'text' AND collation_name IS DISTINCT FROM 'C'
"""


@pytest.fixture
def postgres_url(postgres):
    """Return the URL of an empty store on PostgreSQL, whose own order is that of a dictionary."""
    with postgres.database() as url:
        yield url


@pytest.mark.source("PostgreSQL 15", "Collation Support: C orders by byte values")
def test_every_text_is_ordered_by_its_signs_whatever_language_the_database_has(postgres_url):
    engine = make_engine(postgres_url)
    with begin(engine, writes=False) as connection:
        found = connection.execute(text(NOT_BY_SIGNS)).all()
        assert connection.scalar(text("SELECT 'a' < 'B'")), "the database's own order is another"
    engine.dispose()
    assert found == []


def test_jobs_come_in_the_same_order_on_both_engines(store):
    ids = ["a1", "B1", "_1", "A1", "b 1", "Ä1"]
    with store.write("x", NOW) as unit:
        unit.jobs.add_many([a_job(job_id) for job_id in ids], verb="import")
    with store.read() as unit:
        assert unit.jobs.ids() == tuple(sorted(ids))


def test_a_vehicle_is_found_in_capitals_and_in_small_letters_on_both_engines(store):
    with store.write("x", NOW) as unit:
        car = Vehicle(make="Dunmarrow", model="Packhorse", year=2014)
        unit.jobs.add(a_case("J1", vehicle=car), verb="import")
    with store.read() as unit:
        assert unit.case_lists.ids(CaseFilter(vehicle="PACK dun 2014")) == {"J1"}
        assert unit.case_lists.ids(CaseFilter(vehicle="p_ckhorse")) == frozenset()


def test_a_database_that_cannot_hold_every_sign_is_refused(postgres):
    with postgres.database(OLD_SIGNS) as url:
        with pytest.raises(StoreError, match="UTF8, got LATIN1; make one with createdb"):
            upgrade(url)
        assert schema_revision(url) is None


def test_a_database_without_tables_says_what_to_run(empty_postgres_url):
    with pytest.raises(StoreError, match="got none; run baybook init"):
        open_store(empty_postgres_url)


def test_two_programs_may_make_the_same_shop_at_once(empty_postgres_url):
    refused = []

    def make():
        try:
            upgrade(empty_postgres_url)
        except StoreError as error:
            refused.append(str(error))

    threads = [threading.Thread(target=make) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert refused == []
    assert schema_revision(empty_postgres_url) == SCHEMA_REVISION


def test_a_store_goes_on_after_the_server_ended_its_connections(postgres_url):
    engine = make_engine(postgres_url)
    with open_store(postgres_url) as store:
        assert store.generation() == 0
        with engine.connect() as connection:
            ended = connection.scalar(
                text(
                    "SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity "
                    "WHERE datname = current_database() AND pid <> pg_backend_pid()"
                )
            )
        assert ended
        with store.write("x", NOW) as unit:
            unit.jobs.add(a_job("J1"), verb="open")
        assert store.generation() == 1
    engine.dispose()


def test_a_server_that_is_not_there_is_told_in_plain_words(tmp_path):
    url = f"postgresql://nobody@/shop?host={tmp_path}"
    with pytest.raises(StoreError, match=r"connection to server.*start the database server"):
        open_store(url)


def test_what_no_column_holds_is_refused_like_a_typing_mistake(postgres_url):
    with open_store(postgres_url) as store:
        with pytest.raises(ParseError, match="cannot be stored"), store.read() as unit:
            unit.jobs.get("a\0b")
        with pytest.raises(NotFoundError), store.read() as unit:
            unit.jobs.get("a")


def test_no_database_is_given_a_nul(store):
    with pytest.raises(ParseError, match="in job J1, got a NUL"), store.write("x", NOW) as unit:
        unit.jobs.add(a_job("J1", lines=("warm\0",)), verb="open")
    with store.write("x", NOW) as unit:
        unit.searches.add("warm\0 air")
        unit.failed.add("In\0es", "192.0.2.1")
    with store.read() as unit:
        assert unit.jobs.count() == 0
        assert [row.text for row in unit.searches.since(NOW)] == ["warm air"]
        assert unit.failed.times(name="Ines") == (NOW,)


def test_a_unit_that_reads_is_held_to_it_by_the_server(postgres_url):
    refused = pytest.raises(StoreError, match="read-only")
    with open_store(postgres_url) as store, refused, store.read() as unit:
        unit.connection.execute(text("DELETE FROM settings"))


def test_an_error_repeats_nothing_that_was_written(postgres_url):
    twice = text("INSERT INTO settings (key, value) VALUES ('a secret', ''), ('a secret', '')")
    refused = pytest.raises(StoreError)
    with open_store(postgres_url) as store, refused as told, store.write("x", NOW) as unit:
        unit.connection.execute(twice)
    assert isinstance(told.value.__cause__, DBAPIError)
    assert "a secret" not in str(told.value)


def test_what_pg_dump_keeps_comes_back_whole(postgres, postgres_url, empty_postgres_url):
    with open_store(postgres_url) as store, store.write("x", NOW) as unit:
        unit.jobs.add_many([a_full_case("J1"), a_case("J2")], verb="import")
    # PostgreSQL's own programs take the same URL.
    made = subprocess.run(
        [postgres.programs / "pg_dump", postgres_url], check=True, capture_output=True
    )
    subprocess.run(
        [postgres.programs / "psql", "-q", "-v", "ON_ERROR_STOP=1", empty_postgres_url],
        input=made.stdout,
        check=True,
        capture_output=True,
    )
    with open_store(empty_postgres_url) as store, store.read() as unit:
        assert unit.jobs.closed_jobs() == (a_full_case("J1"), a_case("J2"))
        assert unit.jobs.verify_hashes() == ()
