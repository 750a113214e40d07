import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from datetime import timedelta
from io import BytesIO
from pathlib import Path

import pytest
from PIL import Image

from kb.errors import StoreError
from kb.store import backup as backup_module
from kb.store.archive import pack, read_manifest
from kb.store.backup import make_backup
from kb.store.backup_files import backups_in
from kb.store.copies import describe
from kb.store.engine import sqlite_file
from kb.store.photo_files import keep_photo, photo_path
from tests.factories import a_full_case, a_job
from tests.kb.store.other_process import NOW

pytestmark = pytest.mark.sqlite_only("one file that is copied while it is written")

ROOT = Path(__file__).parents[3]


@pytest.fixture
def shop(store, store_url, tmp_path):
    """Return a function that backs up a shop with two jobs, which stays open."""
    with store.write("x", NOW) as unit:
        unit.jobs.add_many([a_full_case("J1"), a_job("J2")], verb="open")
    store.mark()

    def keep(at=NOW):
        return make_backup(store_url, tmp_path / "kept", home=tmp_path, at=at)

    return keep


def add_photo(store, home):
    picture = BytesIO()
    Image.new("RGB", (8, 8), "red").save(picture, "PNG")
    stored = keep_photo(home / "photos", picture.getvalue())
    with store.write("x", NOW) as unit:
        unit.photos.add("J2", stored)
    return stored.content_hash


def damage(url, text="never typed"):
    with closing(sqlite3.connect(str(sqlite_file(url)))) as other:
        other.execute("UPDATE lines SET text = ? WHERE job_id = 'J2'", (text,))
        other.commit()


def names(folder):
    return sorted(path.name for path in folder.iterdir())


def test_a_backup_of_an_open_shop_says_what_it_holds(shop):
    made = shop()
    holds = read_manifest(made.path).holds
    assert holds == made.manifest.holds
    assert (holds.tables["jobs"], holds.tables["history"], holds.schema) == (2, 2, "0004")
    assert names(made.path.parent) == [made.path.name]
    assert made.path.parent.stat().st_mode & 0o777 == 0o700


def test_photos_lie_once_beside_all_backups(shop, store, tmp_path):
    name = add_photo(store, tmp_path)
    assert shop().photos.copied == 1
    again = shop(NOW + timedelta(days=1))
    assert (again.photos.copied, again.photos.known, again.photos.missing) == (0, 1, ())
    kept = photo_path(tmp_path / "kept" / "photos", name)
    assert kept.read_bytes() == photo_path(tmp_path / "photos", name).read_bytes()


def test_a_photo_without_a_file_is_named_and_stops_no_backup(shop, store, tmp_path):
    name = add_photo(store, tmp_path)
    photo_path(tmp_path / "photos", name).unlink()
    assert shop().photos.missing == (name,)


def test_older_backups_of_this_shop_go_those_of_another_stay(shop, tmp_path):
    kept = [shop(NOW + timedelta(minutes=at)).path for at in range(5)]
    left = {row.path for row in backups_in(tmp_path / "kept")}
    assert left == set(kept[-3:])
    other = kept[-1].with_name("baybook-ffffffff-20200101-020000Z.zip")
    other.touch()
    shop(NOW + timedelta(minutes=9))
    assert other.exists()


def test_a_damaged_case_is_kept_apart_and_takes_no_sound_backup_away(shop, store_url, tmp_path):
    sound = [shop(NOW + timedelta(minutes=at)).path for at in range(3)]
    damage(store_url)
    for minute in (4, 5):
        with pytest.raises(StoreError, match=r"1 that are not \(J2\)"):
            shop(NOW + timedelta(minutes=minute))
    rows = backups_in(tmp_path / "kept")
    assert [row.path for row in rows if not row.damaged] == sound
    assert [row.made.minute for row in rows if row.damaged] == [NOW.minute + 5]


def test_a_backup_that_went_wrong_on_the_disk_gets_no_name(shop, tmp_path, monkeypatch):
    def pack_and_rot(database, manifest, target):
        pack(database, manifest, target)
        data = bytearray(target.read_bytes())
        data[len(data) // 2] ^= 1
        target.write_bytes(bytes(data))

    monkeypatch.setattr(backup_module, "pack", pack_and_rot)
    with pytest.raises(StoreError):
        shop()
    assert names(tmp_path / "kept") == []


def test_what_is_read_back_must_be_what_was_packed(shop, monkeypatch):
    told = iter(("first", "second"))

    def another(file):
        described = describe(file)
        object.__setattr__(described, "cases", next(told))
        return described

    monkeypatch.setattr(backup_module, "describe", another)
    with pytest.raises(StoreError, match="nothing was kept; expected a backup that holds"):
        shop()


def test_a_full_disk_leaves_no_half_backup(shop, tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(backup_module, "pack", full)
    with pytest.raises(OSError, match="No space"):
        shop()
    assert names(tmp_path / "kept") == []


def test_a_killed_backup_leaves_the_older_ones_whole(shop, store_url, tmp_path):
    first = shop().path
    code = (
        "import os, sys, kb.store.backup as b\n"
        "from datetime import datetime, UTC\n"
        "from pathlib import Path\n"
        "pack = b.pack\n"
        "def half(*known):\n"
        "    pack(*known); os.kill(os.getpid(), 9)\n"
        "b.pack = half\n"
        "home = Path(sys.argv[2])\n"
        "b.make_backup(sys.argv[1], home / 'kept', home=home, at=datetime.now(UTC))\n"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code, store_url, str(tmp_path)], cwd=ROOT, check=False
    )
    assert ended.returncode == -9
    assert [row.path for row in backups_in(tmp_path / "kept")] == [first]
    assert len(names(tmp_path / "kept")) == 2
    later = NOW + timedelta(days=2)
    os.utime(next((tmp_path / "kept").glob(".making-*")), (0, 0))
    assert shop(later).path.exists()
    assert not list((tmp_path / "kept").glob(".making-*"))
