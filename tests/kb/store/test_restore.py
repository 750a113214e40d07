import os
import shutil
import sqlite3
from contextlib import closing, suppress
from datetime import timedelta

import pytest

from kb.errors import StoreError
from kb.store import restore as restore_module
from kb.store.backup import make_backup
from kb.store.copies import describe
from kb.store.engine import default_url, open_store, sqlite_file
from kb.store.migrate import upgrade
from kb.store.photo_files import photo_path
from kb.store.restore import Wish, begin_anew, restore, take_as_it_is
from tests.factories import a_full_case, a_job, make_store
from tests.kb.store.other_process import NOW
from tests.kb.store.test_backup import add_photo, damage, names
from tests.kb.store.test_marker import noted

LATER = NOW + timedelta(days=1)


@pytest.fixture
def home(tmp_path):
    """Return the folder of a shop with two jobs, a photo, somebody signed in and a token."""
    folder = tmp_path / "shop"
    make_store(default_url(folder))
    with open_store(default_url(folder)) as store:
        with store.write("x", NOW) as unit:
            unit.jobs.add_many([a_full_case("J1"), a_job("J2")], verb="open")
            unit.sessions.open("5e" * 32, None, shared=True, ends=LATER)
            unit.failed.add("Mara", "10.0.0.4")
        store.mark()
        add_photo(store, folder)
    return folder


@pytest.fixture
def kept(home, tmp_path):
    """Return a backup of that shop, which then wrote on."""
    url = default_url(home)
    made = make_backup(url, tmp_path / "kept", home=home, at=NOW)
    with open_store(url) as store:
        with store.write("x", LATER) as unit:
            unit.jobs.add(a_job("J3"), verb="open")
        store.mark(backup=made.path)
    return made


def back(kept, home, **wish):
    return restore(kept.path, default_url(home), who="Mara", at=LATER, wish=Wish(**wish))


def jobs_of(home):
    with open_store(default_url(home)) as store, store.read() as unit:
        assert unit.jobs.verify_hashes() == ()
        return unit.jobs.ids()


def test_an_empty_machine_gets_the_whole_shop_back(kept, tmp_path):
    new = tmp_path / "new machine"
    found = back(kept, new)
    assert (found.aside, found.damaged, found.photos.missing) == (None, (), ())
    assert names(new) == ["baybook.db", "baybook.db.marker", "photos"]
    assert jobs_of(new) == ("J1", "J2")
    holds = kept.manifest.holds
    now = describe(new / "baybook.db")
    assert (now.cases, now.photos, now.shop) == (holds.cases, holds.photos, holds.shop)
    told = {"history": holds.tables["history"] + 1, "settings": now.tables["settings"]}
    assert now.tables == {**holds.tables, **told}
    name = holds.photos[0][0]
    assert photo_path(new / "photos", name).is_file()


def test_a_shop_that_is_there_is_left_alone_unless_told(kept, home):
    with pytest.raises(StoreError, match="add --replace"):
        back(kept, home)
    assert jobs_of(home) == ("J1", "J2", "J3")


def test_what_was_there_lies_aside_whole(kept, home):
    (home / "index.npz").write_bytes(b"made of the jobs")
    found = back(kept, home, replace=True, derived=("index.npz", "learned.npz"))
    assert jobs_of(home) == ("J1", "J2")
    assert names(found.aside) == ["baybook.db", "baybook.db.marker", "index.npz"]
    shutil.copy(found.aside / "baybook.db", home / "baybook.db")
    (home / "baybook.db.marker").unlink()
    assert jobs_of(home) == ("J1", "J2", "J3")
    assert not (home / "index.npz").exists()


def test_a_running_server_is_noticed_and_nothing_moves(kept, home):
    before = names(home)
    with open_store(default_url(home)) as running:
        with running.read() as unit:
            assert unit.jobs.count() == 3
        with pytest.raises(StoreError, match="end baybook serve"):
            back(kept, home, replace=True)
        with running.write("x", LATER) as unit:
            unit.jobs.add(a_job("J4"), verb="open")
    assert jobs_of(home) == ("J1", "J2", "J3", "J4")
    assert [name for name in names(home) if name.startswith("b")] == [
        name for name in before if name.startswith("b")
    ]


def test_nobody_is_signed_in_afterwards_and_old_names_of_states_are_gone(kept, home):
    with open_store(default_url(home)) as store:
        generation, state = store.generation(), store.state()
    back(kept, home, replace=True)
    with open_store(default_url(home)) as store, store.read() as unit:
        assert unit.sessions.find("5e" * 32) is None
        assert unit.failed.times(name="Mara") == ()
        assert unit.state() != state
        assert store.generation() > generation - 1
        assert [line.who for line in unit.history.since(2) if line.verb == "restore"] == ["Mara"]


def test_a_token_that_worked_before_works_no_more(home, tmp_path):
    url, row = default_url(home), "'till', 'ab', '[]', '2026-05-01', 'x', '2099-01-01'"
    with closing(sqlite3.connect(home / "baybook.db")) as other:
        other.execute(
            "INSERT INTO api_tokens (name, token_hash, scopes, created, created_by, ends) "
            f"VALUES ({row})"
        )
        other.commit()
    made = make_backup(url, tmp_path / "kept", home=home, at=NOW)
    assert back(made, home, replace=True).tokens == 1
    with closing(sqlite3.connect(home / "baybook.db")) as other:
        assert (
            other.execute("SELECT count(*) FROM api_tokens WHERE revoked IS NULL").fetchone()[0]
            == 0
        )


def test_no_number_of_the_lost_state_is_given_out_again(kept, home):
    with open_store(default_url(home)) as store:
        with store.write("x", LATER) as unit:
            lost_job = unit.jobs.next_id()
        with store.read() as unit:
            lost_seq = unit.history.last_seq()
    back(kept, home, replace=True)
    with open_store(default_url(home)) as store, store.write("x", LATER) as unit:
        assert unit.jobs.next_id() > lost_job
        assert unit.history.last_seq() > lost_seq
        assert {line.verb for line in unit.history.since(0)} == {"open", "photo", "restore"}


@pytest.mark.parametrize("damaged", [b"", b"no database " * 900])
def test_a_lost_or_damaged_database_makes_way(kept, home, damaged):
    (home / "baybook.db").write_bytes(damaged)
    (home / "baybook.db-wal").write_bytes(b"left behind")
    found = back(kept, home, replace=bool(damaged))
    assert jobs_of(home) == ("J1", "J2")
    assert (found.aside / "baybook.db").read_bytes() == damaged
    assert (found.aside / "baybook.db-wal").read_bytes() == b"left behind"


def test_a_backup_with_a_changed_case_is_taken_only_when_told(home, tmp_path):
    damage(default_url(home))
    with pytest.raises(StoreError):
        make_backup(default_url(home), tmp_path / "kept", home=home, at=NOW)
    (file,) = (tmp_path / "kept").glob("*-damaged.zip")
    new = default_url(tmp_path / "new")
    with pytest.raises(StoreError, match="add --damaged"):
        restore(file, new, who="x", at=NOW, wish=Wish())
    assert not (tmp_path / "new" / "baybook.db").exists()
    assert restore(file, new, who="x", at=NOW, wish=Wish(damaged=True)).damaged == ("J2",)


def test_a_restore_that_is_killed_is_never_taken_for_a_new_shop(kept, home, monkeypatch):
    class KilledError(Exception):
        pass

    def killed(*_, **__):
        raise KilledError

    moves = ("put_aside", "write_marker", "sync_folder")
    for move in moves:
        with monkeypatch.context() as patch:
            patch.setattr(restore_module, move, killed)
            with suppress(KilledError):
                back(kept, home, replace=True)
        with suppress(StoreError):
            jobs_of(home)
        if not (home / "baybook.db").exists():
            with pytest.raises(StoreError, match="got no file; restore the newest backup"):
                upgrade(default_url(home))
            back(kept, home)
    back(kept, home, replace=True)
    assert jobs_of(home) == ("J1", "J2")


def test_an_older_backup_comes_back_in_the_present_schema(tmp_path):
    old = tmp_path / "old"
    url = default_url(old)
    old.mkdir()
    upgrade(url, "0003")
    file = sqlite_file(url)
    with closing(sqlite3.connect(str(file))) as other:
        other.execute("INSERT INTO settings VALUES ('shop id', ?)", ("cd" * 16,))
        other.commit()
    made = make_backup(url, tmp_path / "kept", home=old, at=NOW)
    assert made.manifest.holds.schema == "0003"
    found = restore(made.path, default_url(tmp_path / "new"), who="x", at=NOW, wish=Wish())
    assert found.damaged == ()
    assert jobs_of(tmp_path / "new") == ()
    assert names(tmp_path / "new") == ["baybook.db", "baybook.db.marker"]


def test_a_newer_backup_is_refused(kept, home, tmp_path):
    file = sqlite_file(default_url(home))
    with closing(sqlite3.connect(str(file))) as other:
        other.execute("UPDATE alembic_version SET version_num = '9999'")
        other.commit()
    made = make_backup(default_url(home), tmp_path / "kept", home=home, at=LATER)
    with pytest.raises(StoreError, match="install the newer Baybook"):
        restore(made.path, default_url(tmp_path / "new"), who="x", at=NOW, wish=Wish())
    assert not (tmp_path / "new" / "baybook.db").exists()


def test_beginning_anew_puts_the_old_shop_aside(kept, home):
    first = noted(home / "baybook.db").shop
    aside = begin_anew(default_url(home), at=LATER)
    assert jobs_of(home) == ()
    with open_store(default_url(home)) as store:
        store.mark()
    assert noted(home / "baybook.db").shop != first
    assert jobs_of(aside) == ("J1", "J2", "J3")


def test_an_older_database_is_taken_as_it_lies_there_when_told(kept, home):
    shutil.copy(home / "baybook.db", home / "earlier.db")
    with open_store(default_url(home)) as store:
        with store.write("x", LATER) as unit:
            unit.jobs.add(a_job("J4"), verb="open")
        store.mark()
    os.replace(home / "earlier.db", home / "baybook.db")
    with pytest.raises(StoreError, match="--take-this"):
        open_store(default_url(home))
    take_as_it_is(default_url(home))
    assert jobs_of(home) == ("J1", "J2", "J3")


def test_a_missing_database_is_not_taken_as_it_is(tmp_path):
    with pytest.raises(StoreError, match="got no file"):
        take_as_it_is(default_url(tmp_path))
    (tmp_path / "baybook.db").touch()
    with pytest.raises(StoreError, match="got an empty file"):
        take_as_it_is(default_url(tmp_path))
