import json
import shutil
from pathlib import Path

import pytest
from sqlalchemy.engine import make_url

from kb.store.backup_files import backups_in
from kb.store.engine import default_url, open_store
from kb.workflow.nightly import last_done
from tests.factories import a_job
from tests.kb.store.by_hand import by_hand
from tests.kb.store.other_process import NOW
from tests.kb.store.test_backup import add_photo, damage
from tests.web.test_cli import empty, terminal
from web.home import backups_folder

__all__ = ["empty", "terminal"]


def the_file(terminal, *words):
    return Path(terminal.told("backup", "--json", *words)["backup"])


def test_a_shop_comes_back_on_a_new_machine(terminal, tmp_path, monkeypatch):
    with open_store(default_url(terminal.home)) as store, store.write("x", NOW) as unit:
        unit.jobs.add(a_job("J2"), verb="open")
    with open_store(default_url(terminal.home)) as store:
        add_photo(store, terminal.home)
    text = terminal.said("backup", "--to", str(tmp_path / "stick"))
    assert "kept 4 jobs and 1 photos" in text
    assert "every case checked" in text
    shutil.rmtree(terminal.home)
    (made,) = backups_in(tmp_path / "stick")
    text = terminal.said("restore", str(made.path))
    assert f"checking the backup of {made.made:%Y-%m-%d %H:%M:%S} (UTC)" in text
    assert "4 jobs and 1 photos are back" in text
    assert "everybody signs in again" in text
    assert "S1" in terminal.said("show", "S1")


def test_backups_lie_where_the_setting_says(terminal, tmp_path, monkeypatch):
    assert backups_folder(terminal.home) == terminal.home / "backups"
    monkeypatch.setenv("BAYBOOK_BACKUPS", str(tmp_path / "other disk"))
    assert the_file(terminal).parent == tmp_path / "other disk"
    with open_store(default_url(terminal.home)) as store, store.read() as unit:
        assert last_done(unit) is not None


def test_one_made_elsewhere_does_not_stand_for_the_nights(terminal, tmp_path):
    the_file(terminal, "--to", str(tmp_path / "stick"))
    with open_store(default_url(terminal.home)) as store, store.read() as unit:
        assert last_done(unit) is None


def test_the_backups_are_listed_with_what_they_are_worth(terminal):
    assert "no backup in" in terminal.said("backup", "--list")
    file = the_file(terminal)
    with open_store(default_url(terminal.home)) as store, store.write("x", NOW) as unit:
        unit.jobs.add(a_job("J2"), verb="open")
    damage(default_url(terminal.home))
    text = terminal.said("backup", code=1)
    assert "1 that are not (J2)" in text
    listed = terminal.told("backup", "--list", "--json")["backups"]
    assert listed[0]["file"] == str(file)
    assert [row["damaged"] for row in listed] == [False, True]
    assert "some damaged" in terminal.said("backup", "--list")


def test_a_shop_that_is_there_is_put_aside_only_when_told(terminal):
    file = str(the_file(terminal))
    assert "add --replace" in terminal.said("restore", file, code=1)
    text = terminal.said("restore", file, "--replace")
    assert "what was there lies in" in text


def test_a_photo_that_is_lost_is_told(terminal):
    with open_store(default_url(terminal.home)) as store:
        with store.write("x", NOW) as unit:
            unit.jobs.add(a_job("J2"), verb="open")
        add_photo(store, terminal.home)
    shutil.rmtree(terminal.home / "photos")
    assert "photos without a file, or with a damaged one: 1" in terminal.said("backup")


def test_a_damaged_backup_is_told_in_one_line(terminal):
    file = the_file(terminal)
    file.write_bytes(file.read_bytes()[:-30])
    text = terminal.said("restore", str(file), "--replace", code=1)
    assert text.splitlines()[-1].startswith("Error: expected a whole backup")


@pytest.mark.parametrize("lose", ["delete", "empty"])
def test_a_lost_database_is_refused_by_every_command_until_somebody_decides(terminal, lose):
    file = the_file(terminal)
    database = terminal.home / "baybook.db"
    if lose == "delete":
        database.unlink()
    else:
        database.write_bytes(b"")
    for words in (["init"], ["serve"], ["find", "x"], ["open", "x"], ["demo", "--once"]):
        text = terminal.said(*words, code=1)
        assert f"restore the newest backup with baybook restore {file}" in text
    text = terminal.said("init", "--begin-anew")
    assert "shop ready in" in text
    with open_store(default_url(terminal.home)) as store, store.read() as unit:
        assert unit.jobs.count() == 0
    assert file.exists()


def test_an_older_copy_put_in_place_is_refused_until_it_is_taken(terminal):
    database = terminal.home / "baybook.db"
    the_file(terminal)
    copy = database.with_name("copy")
    shutil.copy(database, copy)
    terminal.opened()
    the_file(terminal)
    copy.replace(database)
    assert "an earlier state of it" in terminal.said("find", "x", code=1)
    terminal.run("init", "--take-this")
    assert json.loads(terminal.run("show", "S1", "--json").stdout)["job"] == "S1"


def test_a_shop_on_a_server_is_kept_brought_back_and_begun_anew(
    terminal, postgres, empty_postgres_url, tmp_path, monkeypatch
):
    monkeypatch.setenv("BAYBOOK_HOME", str(tmp_path / "served"))
    monkeypatch.setenv("BAYBOOK_DB", empty_postgres_url)
    assert "shop ready" in terminal.said("init")
    job = terminal.told("open", "no crank, one click", "--json")["job"]
    text = terminal.said("backup")
    assert "kept 1 jobs" in text
    assert "restored beside the shop and every case checked" in text
    (made,) = backups_in(tmp_path / "served" / "backups")
    assert "add --replace" in terminal.said("restore", str(made.path), code=1)
    text = terminal.said("restore", str(made.path), "--replace")
    assert "the tables that were there lie in the schema before_restore_" in text
    assert "no crank" in terminal.said("show", job)
    text = terminal.said("init", "--begin-anew")
    assert "what was there lies in the schema before_anew_" in text
    assert terminal.told("backup", "--json", "--to", str(tmp_path / "b"))["jobs"] == 0
    with postgres.database() as other:
        monkeypatch.setenv("BAYBOOK_DB", other)
        assert "--take-this" in terminal.said("show", job, code=1)
        terminal.said("init", "--take-this")
        assert "expected the id of a job" in terminal.said("show", job, code=1)


def test_a_backup_that_was_not_tried_is_never_told_as_one_that_was(
    terminal, postgres, tmp_path, monkeypatch
):
    monkeypatch.setenv("BAYBOOK_HOME", str(tmp_path / "served"))
    with postgres.database() as url:
        name = make_url(url).database
        role = f"poor_{name}"
        by_hand(url, f"CREATE ROLE {role} LOGIN")
        by_hand(url, f"GRANT ALL ON ALL TABLES IN SCHEMA public TO {role}")
        by_hand(url, f"GRANT ALL ON ALL SEQUENCES IN SCHEMA public TO {role}")
        poor = make_url(url).set(username=role).render_as_string()
        monkeypatch.setenv("BAYBOOK_DB", poor)
        text = terminal.said("backup")
        told = terminal.told("backup", "--json")["unverified"]
        by_hand(url, f"DROP OWNED BY {role}")
        by_hand(url, f"DROP ROLE {role}")
    assert "not verified by restoring: the role may not make a database" in text
    assert "restored beside" not in text
    assert told == "not verified by restoring: the role may not make a database"
