import shutil

import pytest

from kb.errors import StoreError
from kb.store.backup_files import FOLDER, free_name
from kb.store.engine import default_url, open_store
from kb.store.marker import SERVER, Marker, last_backup, marker_file, read_marker, write_marker
from kb.store.migrate import upgrade
from tests.factories import a_job, make_store
from tests.kb.store.by_hand import by_hand
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


@pytest.fixture
def served(postgres, tmp_path):
    """Return the URL of a shop on a server whose marker lies in the folder of the test."""
    with postgres.database() as url:
        with open_store(url, home=tmp_path) as store:
            with store.write("x", NOW) as unit:
                unit.jobs.add(a_job("J1"), verb="open")
            store.mark()
        yield url


def test_a_servers_shop_is_noted_in_the_shops_folder(served, tmp_path):
    seen = noted(tmp_path / SERVER)
    assert (seen.jobs, len(seen.shop or "")) == (1, 32)
    open_store(served, home=tmp_path).close()


def test_a_servers_database_that_is_gone_is_no_new_shop(served, postgres, tmp_path):
    file = free_name(tmp_path / "backups", noted(tmp_path / SERVER).shop or "", NOW)
    file.parent.mkdir()
    file.touch()
    with pytest.raises(StoreError, match=f"with 1 jobs .* got no database; .*{file}"):
        open_store(postgres.url("never_made"), home=tmp_path)
    with pytest.raises(StoreError, match="make the database with createdb"):
        open_store(postgres.url("never_made"))


@pytest.mark.parametrize("use", [open_store, upgrade])
def test_a_servers_empty_database_is_no_new_shop(use, served, empty_postgres_url, tmp_path):
    with pytest.raises(StoreError, match="BAYBOOK_DB names, got one without tables"):
        use(empty_postgres_url, home=tmp_path)


def test_another_shops_database_on_the_server_is_refused(served, postgres, tmp_path):
    with postgres.database() as other:
        with pytest.raises(StoreError, match="got that of another shop"):
            open_store(other, home=tmp_path)
        open_store(other).close()


def test_an_older_state_of_a_servers_database_is_refused(served, tmp_path):
    by_hand(served, "DELETE FROM history")
    with pytest.raises(StoreError, match=r"got an earlier state of it \(0 of 1 lines"):
        open_store(served, home=tmp_path)
