import json
from random import Random
from zipfile import ZipFile

import pytest

from kb.errors import StoreError
from kb.store.archive import MANIFEST, Manifest, hash_of, pack, read_manifest, unpack
from kb.store.copies import Described

HOLDS = Described(
    shop="ab" * 16,
    schema="0004",
    seq=7,
    cases="c" * 64,
    tables={"jobs": 2},
    photos=(("d" * 64, 9),),
)


@pytest.fixture
def packed(tmp_path):
    """Return a backup of some bytes, and what it says of itself."""
    database = tmp_path / "any"
    database.write_bytes(Random(4).randbytes(20_000))
    manifest = Manifest(
        made="2026-05-14T09:30:00+00:00",
        holds=HOLDS,
        size_bytes=database.stat().st_size,
        sha256=hash_of(database),
    )
    pack(database, manifest, tmp_path / "made.zip")
    return tmp_path / "made.zip", manifest


def into(tmp_path):
    folder = tmp_path / "again"
    folder.mkdir(exist_ok=True)
    return folder


def test_what_was_packed_comes_out_again(packed, tmp_path):
    file, manifest = packed
    assert read_manifest(file) == manifest
    assert unpack(file, into(tmp_path)) == manifest
    assert hash_of(tmp_path / "again" / "baybook.db") == manifest.sha256
    assert (tmp_path / "again" / "baybook.db").stat().st_mode & 0o777 == 0o600
    assert file.stat().st_mode & 0o777 == 0o600


def test_every_single_changed_byte_is_noticed_or_changes_nothing(packed, tmp_path):
    file, manifest = packed
    whole = file.read_bytes()
    unharmed = 0
    for number, at in enumerate(range(0, len(whole), 41)):
        file.write_bytes(whole[:at] + bytes([whole[at] ^ 0x40]) + whole[at + 1 :])
        folder = tmp_path / f"again{number}"
        folder.mkdir()
        try:
            found = unpack(file, folder)
        except StoreError:
            continue
        # Names, dates and attributes of zip entries are read by nobody.
        assert found == manifest
        assert hash_of(folder / "baybook.db") == manifest.sha256
        unharmed += 1
    assert number > 400
    assert unharmed < number / 10


@pytest.mark.parametrize("length", [0, 1, 40, -1, -40])
def test_a_cut_backup_is_refused(packed, tmp_path, length):
    file, _ = packed
    file.write_bytes(file.read_bytes()[:length])
    with pytest.raises(StoreError, match="expected a whole backup"):
        unpack(file, into(tmp_path))


def rewritten(file, **changes):
    with ZipFile(file) as archive:
        found, data = json.loads(archive.read(MANIFEST)), archive.read("baybook.db")
    with ZipFile(file, "w") as archive:
        archive.writestr(MANIFEST, json.dumps({**found, **changes}))
        archive.writestr("baybook.db", data)


def test_another_layout_is_refused(packed):
    rewritten(packed[0], format=2)
    with pytest.raises(StoreError, match="another layout"):
        read_manifest(packed[0])


@pytest.mark.parametrize("changes", [{"sha256": "0" * 64}, {"size_bytes": 10}, {"holds": {}}])
def test_a_database_that_is_not_the_one_that_was_packed_is_refused(packed, tmp_path, changes):
    rewritten(packed[0], **changes)
    with pytest.raises(StoreError, match="expected a whole backup"):
        unpack(packed[0], into(tmp_path))


def test_a_zip_of_something_else_is_refused_and_writes_nothing(tmp_path):
    file = tmp_path / "other.zip"
    with ZipFile(file, "w") as archive:
        archive.writestr("../outside", "x")
    with pytest.raises(StoreError, match="expected a whole backup"):
        unpack(file, into(tmp_path))
    assert list(into(tmp_path).iterdir()) == []
    assert not (tmp_path / "outside").exists()
