from datetime import timedelta

import pytest
from sqlalchemy.engine import make_url

from kb.errors import StoreError
from kb.store import server_copies, server_programs
from kb.store.archive import DUMP, read_manifest, unpack
from kb.store.backup import make_backup
from kb.store.backup_files import backups_in
from kb.store.engine import open_store
from kb.store.migrate import upgrade
from kb.store.server_copies import NO_RIGHT, connected, describe_server, loaded
from tests.factories import a_full_case, a_job
from tests.kb.store.by_hand import by_hand
from tests.kb.store.other_process import NOW
from tests.kb.store.test_backup import add_photo


@pytest.fixture
def url(postgres):
    """Return the URL of a shop on the server with two jobs and somebody signed in."""
    with postgres.database() as made:
        with open_store(made) as store:
            with store.write("x", NOW) as unit:
                unit.jobs.add_many([a_full_case("J1"), a_job("J2")], verb="open")
                unit.sessions.open("5e" * 32, None, shared=True, ends=NOW)
            store.mark()
        yield made


@pytest.fixture
def poor_url(url):
    """Return the URL of the same shop for a role that may not make a database."""
    role = f"poor_{make_url(url).database}"
    by_hand(url, f"CREATE ROLE {role} LOGIN")
    by_hand(url, f"GRANT SELECT ON ALL TABLES IN SCHEMA public TO {role}")
    by_hand(url, f"GRANT SELECT ON ALL SEQUENCES IN SCHEMA public TO {role}")
    yield make_url(url).set(username=role).render_as_string()
    by_hand(url, f"DROP OWNED BY {role}")
    by_hand(url, f"DROP ROLE {role}")


def databases(url):
    with connected(url) as connection:
        return [
            row[0]
            for row in connection.exec_driver_sql("SELECT datname FROM pg_database")
            if row[0].startswith("baybook_trial_")
        ]


def keep(url, home, at=NOW):
    return make_backup(url, home / "kept", home=home, at=at)


def test_a_shop_on_a_server_is_kept_and_tried_in_a_database_of_its_own(url, tmp_path):
    with open_store(url) as store:
        add_photo(store, tmp_path)
    made = keep(url, tmp_path)
    manifest = read_manifest(made.path)
    assert manifest == made.manifest
    assert (manifest.schema_name, manifest.unverified, manifest.part) == ("public", "", DUMP)
    assert (manifest.holds.tables["jobs"], manifest.holds.tables["sessions"]) == (2, 0)
    assert made.photos.copied == 1
    assert databases(url) == []
    unpack(made.path, tmp_path)
    with loaded(url, tmp_path / DUMP, "public") as copy, connected(copy) as connection:
        assert describe_server(connection) == manifest.holds
        assert connection.exec_driver_sql("SELECT count(*) FROM sessions").scalar() == 0


def test_a_role_that_may_make_no_database_is_told_that_nothing_was_tried(poor_url, tmp_path):
    made = keep(poor_url, tmp_path)
    assert read_manifest(made.path).unverified == NO_RIGHT
    assert read_manifest(made.path).holds.tables["jobs"] == 2


@pytest.mark.parametrize("role", ["url", "poor_url"])
def test_a_damaged_case_is_named_whatever_the_role_may(role, request, tmp_path, url):
    by_hand(url, "UPDATE lines SET text = 'never typed' WHERE job_id = 'J2'")
    with pytest.raises(StoreError, match=r"1 that are not \(J2\)"):
        keep(request.getfixturevalue(role), tmp_path)
    assert [row.damaged for row in backups_in(tmp_path / "kept")] == [True]


def test_a_dump_that_holds_something_else_is_not_kept(url, tmp_path, monkeypatch):
    load = server_programs.load

    def less(made, source):
        load(made, source)
        by_hand(made, "DELETE FROM lines")

    monkeypatch.setattr(server_programs, "load", less)
    with pytest.raises(StoreError, match="nothing was kept; expected a dump"):
        keep(url, tmp_path)
    assert (list((tmp_path / "kept").iterdir()), databases(url)) == ([], [])


def test_what_others_write_meanwhile_is_of_the_next_backup(url, tmp_path, monkeypatch):
    dump = server_programs.dump

    def busy(*known, **more):
        with open_store(url) as store, store.write("x", NOW) as unit:
            unit.jobs.add(a_job("J3"), verb="open")
        dump(*known, **more)

    monkeypatch.setattr(server_programs, "dump", busy)
    assert keep(url, tmp_path).manifest.holds.tables["jobs"] == 2
    monkeypatch.undo()
    later = keep(url, tmp_path, at=NOW + timedelta(days=1))
    assert later.manifest.holds.tables["jobs"] == 3


def test_a_trial_database_of_a_killed_backup_goes_a_day_later(url, tmp_path):
    server_copies._outside(url, "CREATE DATABASE baybook_trial_1000_ab TEMPLATE template0")
    keep(url, tmp_path)
    assert databases(url) == []


def test_a_shop_in_a_schema_of_its_own_is_kept_too(empty_postgres_url, tmp_path):
    name = make_url(empty_postgres_url).database
    by_hand(empty_postgres_url, 'CREATE SCHEMA "The Shop"')
    by_hand(empty_postgres_url, f'ALTER DATABASE {name} SET search_path TO "The Shop"')
    upgrade(empty_postgres_url)
    made = keep(empty_postgres_url, tmp_path)
    assert (made.manifest.schema_name, made.manifest.unverified) == ("The Shop", "")
