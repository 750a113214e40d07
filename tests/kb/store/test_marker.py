import shutil

import pytest

from kb.errors import StoreError
from kb.store.backup_files import FOLDER, free_name
from kb.store.engine import default_url, open_store
from kb.store.marker import Marker, last_backup, marker_file, read_marker, write_marker
from kb.store.migrate import upgrade
from tests.factories import a_job, make_store
from tests.kb.store.other_process import NOW


@pytest.fixture
def database(tmp_path):
    """Return the database of a shop with one job that was noted beside it."""
    make_store(default_url(tmp_path))
    with open_store(default_url(tmp_path)) as store:
        with store.write("x", NOW) as unit:
            unit.jobs.add(a_job("J1"), verb="open")
        store.mark()
    return tmp_path / "baybook.db"


def noted(database):
    found = read_marker(database)
    assert found is not None
    return found


def refusal(folder):
    with pytest.raises(StoreError) as caught:
        open_store(default_url(folder))
    if "the shop's records" in str(caught.value):
        with pytest.raises(StoreError, match="the shop's records"):
            upgrade(default_url(folder))
    return str(caught.value)


def test_a_shop_that_is_as_it_was_opens(database):
    found = noted(database)
    assert (found.jobs, found.seq, found.schema) == (1, 1, "0004")
    assert len(found.shop or "") == 32
    open_store(default_url(database.parent)).close()


@pytest.mark.parametrize("lose", ["delete", "empty"])
def test_a_lost_database_is_never_taken_for_a_new_shop(database, lose):
    backup = free_name(database.parent / FOLDER, "ab" * 16, NOW)
    backup.parent.mkdir()
    backup.touch()
    if lose == "delete":
        database.unlink()
    else:
        database.write_bytes(b"")
    text = refusal(database.parent)
    assert "records with 1 jobs" in text
    assert f"baybook restore {backup}" in text
    assert "baybook init --begin-anew" in text
    assert not database.exists() or not database.stat().st_size


def test_an_empty_file_without_a_marker_is_no_new_shop_either(tmp_path):
    (tmp_path / "baybook.db").touch()
    assert "got an empty file" in refusal(tmp_path)


def test_backups_alone_show_that_a_shop_was_there(tmp_path):
    backup = free_name(tmp_path / FOLDER, "ab" * 16, NOW)
    backup.parent.mkdir()
    backup.touch()
    assert str(backup) in refusal(tmp_path)


def test_a_folder_of_no_shop_says_what_to_run(tmp_path):
    with pytest.raises(StoreError, match="got no file; run baybook init"):
        open_store(default_url(tmp_path))


def test_an_earlier_copy_of_the_database_is_refused(database):
    shutil.copy(database, database.with_name("earlier"))
    with open_store(default_url(database.parent)) as store:
        with store.write("x", NOW) as unit:
            unit.jobs.add(a_job("J2"), verb="open")
        store.mark()
    database.with_name("earlier").replace(database)
    assert "an earlier state of it (1 of 2 lines of history)" in refusal(database.parent)


def test_another_shops_database_is_refused(database, tmp_path):
    other = tmp_path / "other"
    upgrade(default_url(other))
    with open_store(default_url(other)) as store:
        store.mark()
    (other / "baybook.db").replace(database)
    assert "that of another shop" in refusal(database.parent)


def test_a_state_that_went_on_since_it_was_noted_opens(database):
    with open_store(default_url(database.parent)) as store, store.write("x", NOW) as unit:
        unit.jobs.add(a_job("J2"), verb="open")
    open_store(default_url(database.parent)).close()


@pytest.mark.parametrize("damage", [b"", b"\xff\xfe", b"{", b"[]", b'{"shop": 5, "seq": true}'])
def test_a_damaged_marker_stops_no_sound_shop_but_still_tells_of_one(database, damage):
    marker_file(database).write_bytes(damage)
    assert read_marker(database) == Marker()
    open_store(default_url(database.parent)).close()
    database.unlink()
    assert "got no file" in refusal(database.parent)


def test_the_shops_id_stays(database):
    before = noted(database).shop
    with open_store(default_url(database.parent)) as store:
        store.mark()
    assert noted(database).shop == before


def test_the_place_of_the_newest_backup_is_remembered_and_looked_at_again(database, tmp_path):
    stick = tmp_path / "stick"
    stick.mkdir()
    first, second = (free_name(stick, "ab" * 16, NOW.replace(hour=at)) for at in (8, 9))
    first.touch()
    write_marker(database, Marker(shop="ab" * 16, backup=str(first)))
    write_marker(database, Marker(shop="ab" * 16, jobs=4))
    assert noted(database).backup == str(first)
    second.touch()
    assert last_backup(database) == second
    shutil.rmtree(stick)
    assert last_backup(database) is None
