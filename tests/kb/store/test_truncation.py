import random
import sqlite3
from contextlib import closing

import pytest

from kb.errors import StoreError
from kb.store.engine import open_store, sqlite_file
from kb.store.truncation import LONG_LOG, log_bytes
from tests.factories import a_full_case
from tests.kb.store.other_process import NOW

pytestmark = pytest.mark.sqlite_only("one file that can be cut")


def file_of(url):
    """Return the file of a SQLite database."""
    file = sqlite_file(url)
    assert file is not None
    return file


@pytest.fixture
def filled(store_url):
    with open_store(store_url) as store, store.write("Ines", NOW) as unit:
        unit.jobs.add_many([a_full_case(f"J{number}") for number in range(30)], verb="import")
    return store_url


def test_a_database_cut_off_anywhere_is_refused(filled):
    file = file_of(filled)
    good, drawn = file.read_bytes(), random.Random(11)
    for _ in range(60):
        file.write_bytes(good[: drawn.randrange(len(good))])
        with pytest.raises(StoreError, match="baybook restore"):
            open_store(filled)
    file.write_bytes(good)
    with open_store(filled) as store, store.read() as unit:
        assert unit.jobs.verify_hashes() == ()


def test_the_log_shrinks_once_nobody_reads_for_long_any_more(filled):
    file, big = file_of(filled), "x" * 1_000_000
    with open_store(filled) as store, closing(sqlite3.connect(str(file))) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM jobs").fetchone()
        for number in range(66):
            with store.write("Ines", NOW) as unit:
                unit.settings.set(f"big {number % 4}", big)
        assert log_bytes(file) > LONG_LOG
        reader.rollback()
        for _ in range(3):
            with store.write("Ines", NOW) as unit:
                unit.settings.set("small", "x")
        assert log_bytes(file) <= LONG_LOG
    assert log_bytes(file) == 0


def test_every_cut_of_the_log_leaves_some_state_that_was_written(filled, tmp_path):
    file, log = file_of(filled), tmp_path / "baybook.db-wal"
    with open_store(filled) as store, closing(sqlite3.connect(str(file))) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT 1 FROM jobs").fetchone()
        for number in range(4):
            with store.write("Ines", NOW) as unit:
                unit.settings.set("step", str(number))
                unit.jobs.add(a_full_case(f"K{number}"), verb="import")
        base, whole = file.read_bytes(), log.read_bytes()
    # All cuts of 512 bytes took a minute and found what these find.
    blocks = random.Random(5).sample(range(0, len(whole), 512), 60)
    cuts = {0, *blocks, *range(32, len(whole) + 1, 4096 + 24)}
    folder, last = tmp_path / "cut", -1
    folder.mkdir()
    copy = folder / "baybook.db"
    for cut in sorted(cuts):
        for old in folder.iterdir():
            old.unlink()
        copy.write_bytes(base)
        (folder / "baybook.db-wal").write_bytes(whole[:cut])
        with closing(sqlite3.connect(str(copy))) as found:
            rows = dict(found.execute("SELECT key, value FROM settings"))
            jobs = [row[0] for row in found.execute("SELECT id FROM jobs WHERE id LIKE 'K%'")]
            assert found.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        step = int(rows.get("step", -1))
        assert sorted(jobs) == [f"K{number}" for number in range(step + 1)]
        assert step >= last
        last = step
    assert last == 3
