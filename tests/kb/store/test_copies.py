import sqlite3
from contextlib import closing

import pytest

from kb.errors import StoreError
from kb.store.copies import check_copy, copy_sqlite, describe
from kb.store.engine import open_store, sqlite_file
from tests.factories import a_full_case, a_job
from tests.kb.store.other_process import NOW

pytestmark = pytest.mark.sqlite_only("one file that is copied")


@pytest.fixture
def filled(store, store_url):
    """Return the database of a shop that is open, with two jobs and somebody signed in."""
    with store.write("x", NOW) as unit:
        unit.jobs.add_many([a_full_case("J1"), a_job("J2")], verb="open")
        unit.sessions.open("5e55" * 16, None, shared=True, ends=NOW)
    return sqlite_file(store_url)


def test_a_copy_of_an_open_shop_holds_the_same(filled, tmp_path):
    target = tmp_path / "copy" / "baybook.db"
    target.parent.mkdir()
    copy_sqlite(filled, target)
    ours, copied = describe(filled), describe(target)
    assert (copied.cases, copied.seq) == (ours.cases, ours.seq)
    assert copied.tables == {**ours.tables, "sessions": 0}
    assert check_copy(target) == ()
    assert [path.name for path in target.parent.iterdir()] == ["baybook.db"]


def test_a_copy_lets_nobody_in(filled, tmp_path):
    target = tmp_path / "copy.db"
    copy_sqlite(filled, target)
    assert b"5e555e555e55" not in target.read_bytes()
    assert target.stat().st_mode & 0o777 == 0o600


def test_another_case_makes_another_digest(store, filled):
    before = describe(filled).cases
    with store.write("x", NOW) as unit:
        unit.jobs.save(a_job("J2", lines=("something else",)), verb="add")
    assert describe(filled).cases != before


def test_a_changed_case_is_named(filled, tmp_path):
    target = tmp_path / "copy" / "baybook.db"
    target.parent.mkdir()
    copy_sqlite(filled, target)
    with closing(sqlite3.connect(target)) as other:
        other.execute("UPDATE lines SET text = 'never typed' WHERE job_id = 'J2'")
        other.commit()
    assert check_copy(target) == ("J2",)


def test_rows_without_their_job_are_refused(filled, tmp_path):
    target = tmp_path / "copy.db"
    copy_sqlite(filled, target)
    with closing(sqlite3.connect(target)) as other:
        other.execute("DELETE FROM jobs WHERE id = 'J2'")
        other.commit()
    with pytest.raises(StoreError, match="rows without what they belong to"):
        check_copy(target)


def test_a_damaged_database_is_not_copied_as_a_sound_one(tmp_path):
    (tmp_path / "baybook.db").write_bytes(b"not a database, but long enough " * 400)
    with pytest.raises(StoreError, match="nothing was kept"):
        copy_sqlite(tmp_path / "baybook.db", tmp_path / "copy.db")
    with pytest.raises(StoreError, match="expected a shop's database"):
        describe(tmp_path / "baybook.db")
    with pytest.raises(StoreError, match="expected a sound database"):
        check_copy(tmp_path / "baybook.db")


def test_damaged_pages_are_noticed(filled, tmp_path, store_url):
    target = tmp_path / "copy" / "baybook.db"
    target.parent.mkdir()
    copy_sqlite(filled, target)
    data = bytearray(target.read_bytes())
    data[4096 * 3 : 4096 * 9] = b"\0" * 4096 * 6
    target.write_bytes(bytes(data))
    with pytest.raises(StoreError):
        check_copy(target)
    with open_store(store_url) as whole, whole.read() as unit:
        assert unit.jobs.count() == 2
