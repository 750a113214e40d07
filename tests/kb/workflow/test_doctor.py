import os
import shutil
import sqlite3
from contextlib import closing
from datetime import timedelta

import pytest

from kb.store.backup_files import FOLDER, free_name
from kb.store.engine import default_url, open_store
from kb.store.photo_files import keep_photo, photo_path
from kb.store.truncation import LONG_LOG
from kb.workflow import doctor
from kb.workflow.doctor import Place, State, examine
from tests.factories import a_full_case, a_picture, make_store
from tests.kb.workflow.conftest import NOW

AROUND = {"room on the disk", "last backup"}


class Examined:
    """A shop with one case and one photo, and what the doctor says about it."""

    def __init__(self, home):
        home.mkdir(mode=0o700)
        self.place = Place(url=default_url(home), home=home, photos=home / "photos")
        make_store(self.place.url)
        self.kept = keep_photo(self.place.photos, a_picture())
        with open_store(self.place.url) as store, store.write("Ines", NOW) as unit:
            unit.jobs.add(a_full_case("J1"), verb="import")
            unit.photos.add("J1", self.kept)

    def by_hand(self, sql):
        with closing(sqlite3.connect(self.place.home / "baybook.db")) as other:
            other.execute(sql)
            other.commit()

    def row(self, name, now=NOW):
        (found,) = [row for row in examine(self.place, now) if row.name == name]
        return found


@pytest.fixture
def examined(tmp_path):
    return Examined(tmp_path / "shop")


def test_a_sound_shop_has_nothing_wrong(examined):
    rows = examine(examined.place, NOW)
    assert {row.state for row in rows if row.name not in AROUND} == {State.SOUND}
    assert len({row.name for row in rows}) == len(rows) >= 11
    assert not any(row.to_do for row in rows if row.state is State.SOUND)


def test_a_damaged_case_is_named_with_what_to_do(examined):
    examined.by_hand("UPDATE closings SET cause = 'other'")
    row = examined.row("jobs and cases")
    assert row.state is State.WRONG
    assert "J1" in row.seen
    assert "baybook restore" in row.to_do


def test_a_table_that_cannot_be_read_keeps_nothing_else_from_being_looked_at(examined):
    examined.by_hand("DROP TABLE photos")
    rows = {row.name: row.state for row in examine(examined.place, NOW)}
    assert rows["photos"] is rows["tables"] is State.WRONG
    assert rows["pages"] is State.SOUND


def test_without_a_database_the_rest_is_still_looked_at(examined):
    (examined.place.home / "baybook.db").unlink()
    rows = {row.name: row.state for row in examine(examined.place, NOW)}
    assert rows["database"] is State.WRONG
    assert "room on the disk" in rows


def test_a_backup_that_is_missing_or_old_is_told(examined):
    assert examined.row("last backup").seen == "none found"
    folder = examined.place.home / FOLDER
    folder.mkdir()
    made = free_name(folder, "0" * 32, NOW)
    made.touch()
    row = examined.row("last backup")
    assert row.state is State.SOUND
    assert str(made) in row.seen
    assert examined.row("last backup", NOW + timedelta(days=3)).state is State.LOOK


@pytest.mark.parametrize("harm", ["gone", "changed"])
def test_a_photo_that_is_gone_or_changed_is_named(examined, harm):
    path = photo_path(examined.place.photos, examined.kept.content_hash)
    path.unlink() if harm == "gone" else path.write_bytes(b"other")
    row = examined.row("photos")
    assert row.state is State.WRONG
    assert row.seen == f"{harm}: {examined.kept.content_hash[:12]}"


def test_a_clock_behind_the_newest_record_is_told(examined):
    assert examined.row("clock", NOW - timedelta(minutes=1)).state is State.SOUND
    assert examined.row("clock", NOW - timedelta(days=1)).state is State.LOOK


@pytest.mark.parametrize(
    ("free", "state"), [(10**6, State.WRONG), (10**8, State.LOOK), (10**12, State.SOUND)]
)
def test_room_is_told_before_it_runs_out(examined, monkeypatch, free, state):
    usage = type("Usage", (), {"free": free})
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage)
    assert examined.row("room on the disk").state is state


def test_a_long_log_names_the_long_reader(examined):
    log = examined.place.home / "baybook.db-wal"
    log.touch()
    os.truncate(log, LONG_LOG + 1)
    assert doctor._log(examined.place.home / "baybook.db").state is State.LOOK
    os.truncate(log, LONG_LOG)
    assert doctor._log(examined.place.home / "baybook.db").state is State.SOUND


@pytest.mark.skipif(os.name != "posix", reason="rights of another kind there")
def test_a_key_that_others_may_read_and_a_folder_that_others_may_write_are_told(examined):
    key = examined.place.home / "form.key"
    key.touch(mode=0o600)
    assert examined.row("rights of the files").state is State.SOUND
    key.chmod(0o644)
    assert "form.key" in examined.row("rights of the files").seen
    key.chmod(0o600)
    examined.place.home.chmod(0o777)
    assert "shop" in examined.row("rights of the files").seen
