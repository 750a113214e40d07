import sqlite3

import pytest

from kb.store.data_version import DataVersion
from kb.store.engine import make_engine, open_store
from tests.factories import a_job
from tests.kb.store.other_process import NOW
from tests.kb.store.test_engine import another, finish


def add(store, job_id):
    with store.write("Ines", NOW) as unit:
        unit.jobs.add(a_job(job_id), verb="open")


@pytest.mark.sqlite_only("a server tells nobody of others' writes")
@pytest.mark.source("SQLite documentation", "PRAGMA data_version")
def test_a_write_of_anybody_is_told(store, store_url):
    before = store.version.now()
    assert before is not None
    with store.read() as unit:
        unit.jobs.ids()
    assert store.version.now() == before
    add(store, "J1")
    after = store.version.now()
    assert after != before
    assert finish([another("close_one", store_url)]) == [0]
    assert store.version.now() not in {before, after}


@pytest.mark.sqlite_only("a server tells nobody of others' writes")
def test_a_unit_of_work_knows_the_version_before_it(store, store_url):
    before = store.version.now()
    with store.read() as unit:
        assert unit.version == before
        with open_store(store_url) as other:
            add(other, "J1")
        assert unit.version == before != store.version.now()


@pytest.mark.sqlite_only("a server tells nobody of others' writes")
def test_after_a_connection_that_failed_nothing_is_taken_for_what_it_was(store, monkeypatch):
    before = store.version.now()
    monkeypatch.setattr(store.version._asked, "cursor", broken, raising=False)
    assert store.version.now() is None
    again = store.version.now()
    assert again is not None
    assert again != before


def broken():
    raise sqlite3.OperationalError("disk I/O error")


@pytest.mark.sqlite_only("a file that cannot be opened")
def test_a_database_that_cannot_be_asked_tells_nothing(tmp_path):
    version = DataVersion(make_engine(f"sqlite:///{tmp_path / 'none' / 'none.db'}"))
    assert version.now() is None
    version.close()


def test_a_server_tells_nothing_and_a_file_does(store):
    told = store.version.now()
    assert (told is None) == (store._engine.dialect.name != "sqlite")
