import random
import sqlite3
from contextlib import closing

import pytest

from kb.errors import StoreError
from kb.store.engine import open_store, sqlite_file
from kb.store.photo_files import StoredPhoto
from kb.store.soundness import look_into
from tests.benchmarks.bench_flips import dump, flip
from tests.factories import a_full_case, a_job
from tests.kb.store.other_process import NOW


def file_of(url):
    """Return the file of a SQLite database."""
    file = sqlite_file(url)
    assert file is not None
    return file


def fill(url, jobs=3):
    with open_store(url) as store:
        with store.write("Ines", NOW) as unit:
            unit.jobs.add_many([a_full_case(f"J{at}") for at in range(jobs)], verb="import")
            unit.people.add("Ines", "owner")
            unit.settings.set("colour", "blue")
            unit.photos.add(
                "J0", StoredPhoto(content_hash="a" * 64, media_type="image/jpeg", size_bytes=9)
            )
        with store.write("Ines", NOW) as unit:
            unit.jobs.save(a_full_case("J0", body="Said *again*."), verb="text")


@pytest.fixture
def filled(store_url):
    fill(store_url)
    return store_url


def by_hand(url, *statements):
    with closing(sqlite3.connect(str(file_of(url)))) as other:
        for statement in statements:
            other.execute(statement)
        other.commit()


def trouble(url):
    """Return what each question about a database finds wrong; a question may be refused."""
    found = {}
    with look_into(url) as database:
        for name in (
            "schema", "pages", "orphans", "damaged_jobs", "changed_rows", "without_history",
            "out_of_order",
        ):  # fmt: skip
            try:
                found[name] = getattr(database, name)()
            except StoreError as error:
                found[name] = str(error)
    return {name: rows for name, rows in found.items() if rows}


def test_a_sound_database_has_no_trouble(filled):
    assert trouble(filled) == {}
    with look_into(filled) as database:
        assert database.newest_line() == NOW
        assert database.photos() == {"a" * 64: 9}


@pytest.mark.sqlite_only("damage as a file takes it")
@pytest.mark.parametrize(
    ("sql", "found"),
    [
        ("DROP INDEX ix_jobs_state", {"schema": ("table jobs is not as it was made",)}),
        ("DROP TABLE fields", {"schema": ("no table fields",)}),
        ("UPDATE alembic_version SET version_num = '0003'", {"schema": ("expected schema 0004",)}),
        ("DELETE FROM jobs WHERE id = 'J1'", {"orphans": ("closings", "codes")}),
        ("UPDATE closings SET cause = 'x' WHERE job_id = 'J1'", {"damaged_jobs": ("J1",)}),
        ("UPDATE jobs SET body_html = 'x' WHERE id = 'J0'", {"damaged_jobs": ("J0",)}),
        ("UPDATE people SET role = 'viewer'", {"changed_rows": ("people: 1",)}),
        ("UPDATE history SET at = 'never'", {"changed_rows": ("history: cannot be read",)}),
        ("DELETE FROM history WHERE job_id = 'J1'", {"without_history": ("J1",)}),
        ("DELETE FROM history WHERE verb = 'text'", {"out_of_order": 1}),
    ],
)
def test_what_is_wrong_is_named(filled, sql, found):
    by_hand(filled, sql)
    seen = trouble(filled)
    (name,) = found
    assert name in seen
    if name == "schema":
        assert seen[name][0].startswith(found[name][0])
    elif name == "orphans":
        assert set(found[name]) <= set(seen[name])
    else:
        assert found.items() <= seen.items()


@pytest.mark.sqlite_only("damage as a file takes it")
def test_a_photo_that_no_row_knows_is_told(filled):
    by_hand(filled, "DELETE FROM photos")
    with look_into(filled) as database:
        assert database.photos() == {"a" * 64: -1}


def test_there_is_nothing_to_look_into_without_a_database(tmp_path):
    with pytest.raises(StoreError, match="got none"):
        look_into(f"sqlite:///{tmp_path / 'none.db'}")
    (tmp_path / "empty.db").touch()
    with pytest.raises(StoreError, match="got none"):
        look_into(f"sqlite:///{tmp_path / 'empty.db'}")


@pytest.mark.sqlite_only("the bytes of one file")
def test_looking_changes_nothing(filled):
    before = file_of(filled).read_bytes()
    trouble(filled)
    assert file_of(filled).read_bytes() == before


def served(url):
    """Return every job that the store hands out, by id, and every text of a page."""
    try:
        with open_store(url) as store, store.read() as unit:
            jobs = {job.id: job for job in (*unit.jobs.closed_jobs(), *unit.jobs.open_jobs())}
            return jobs, {name: unit.jobs.body_html(name) for name in jobs}
    except StoreError:
        return {}, {}


def rows_of(file):
    """Return every row of every table, None where they cannot be read."""
    try:
        return dump(file)
    except sqlite3.Error:
        return None


@pytest.mark.sqlite_only("the bytes of one file")
def test_a_turned_bit_that_changes_a_row_is_noticed_and_serves_no_changed_case(store_url):
    fill(store_url, jobs=40)
    with open_store(store_url) as store, store.write("Ines", NOW) as unit:
        unit.jobs.add(a_job("J900"), verb="open")
    file, drawn = file_of(store_url), random.Random(3)
    good, rows, (jobs, pages) = file.read_bytes(), rows_of(file), served(store_url)
    changed = 0
    for _ in range(25):
        flip(file, good, drawn)
        seen = trouble(store_url)
        got, texts = served(store_url)
        assert got.items() <= jobs.items()
        assert texts.items() <= pages.items()
        if rows_of(file) != rows:
            changed += 1
            assert seen
        if not seen:
            assert (got, texts) == (jobs, pages)
    assert changed >= 3
