from datetime import timedelta

import pytest
from sqlalchemy.engine import make_url

from kb.errors import StoreError
from kb.store import server_restore
from kb.store.backup import make_backup
from kb.store.engine import default_url, open_store
from kb.store.marker import SERVER, marker_file
from kb.store.migrate import downgrade, upgrade
from kb.store.photo_files import photo_path
from kb.store.restore import Wish, restore
from kb.store.server_copies import connected, describe_server, tables_of
from kb.store.server_restore import begin_anew_on_server, restore_on_server, take_server_as_it_is
from tests.factories import a_full_case, a_job, make_store
from tests.kb.store.by_hand import by_hand
from tests.kb.store.other_process import NOW
from tests.kb.store.test_backup import add_photo
from tests.kb.store.test_marker import noted

LATER = NOW + timedelta(days=1)


@pytest.fixture
def shop(postgres, tmp_path):
    """Return the URL of a shop on the server with two jobs, a photo, a session and a token."""
    with postgres.database() as url:
        fill(url, tmp_path / "shop")
        by_hand(
            url,
            "INSERT INTO api_tokens (name, token_hash, scopes, created, created_by, ends) "
            "VALUES ('till', 'ab', '[]', '2026-05-01', 'x', '2099-01-01')",
        )
        yield url


def fill(url, home):
    with open_store(url, home=home) as store:
        with store.write("x", NOW) as unit:
            unit.jobs.add_many([a_full_case("J1"), a_job("J2")], verb="open")
            unit.sessions.open("5e" * 32, None, shared=True, ends=LATER)
        home.mkdir(exist_ok=True)
        store.mark()
        add_photo(store, home)


def keep(url, tmp_path):
    home = tmp_path / "shop"
    made = make_backup(url, tmp_path / "kept", home=home, at=NOW)
    with open_store(url, home=home) as store, store.write("x", LATER) as unit:
        unit.jobs.add(a_job("J3"), verb="open")
    return made


def back(made, url, home, **wish):
    return restore_on_server(made.path, url, home=home, who="Mara", at=LATER, wish=Wish(**wish))


def jobs_of(url, home=None):
    with open_store(url, home=home) as store, store.read() as unit:
        assert unit.jobs.verify_hashes() == ()
        return unit.jobs.ids()


def test_an_empty_database_gets_the_whole_shop_back(shop, empty_postgres_url, tmp_path):
    made, new = keep(shop, tmp_path), tmp_path / "new"
    found = back(made, empty_postgres_url, new)
    assert (found.aside, found.schema, found.damaged, found.tokens) == (None, None, (), 1)
    assert jobs_of(empty_postgres_url, new) == ("J1", "J2")
    holds = made.manifest.holds
    with connected(empty_postgres_url) as connection:
        now = describe_server(connection)
        assert connection.exec_driver_sql("SELECT count(*) FROM sessions").scalar() == 0
    assert (now.cases, now.photos, now.shop) == (holds.cases, holds.photos, holds.shop)
    assert photo_path(new / "photos", holds.photos[0][0]).is_file()
    seen = noted(new / SERVER)
    assert (seen.shop, seen.jobs, seen.seq) == (now.shop, 2, now.seq)
    assert seen.backup == str(made.path)


def test_no_number_of_the_lost_state_is_given_out_again(shop, tmp_path):
    home = tmp_path / "shop"
    made = keep(shop, tmp_path)
    with open_store(shop) as store, store.write("x", LATER) as unit:
        job, seq = unit.jobs.next_id(), unit.history.last_seq()
    back(made, shop, home, replace=True)
    with open_store(shop, home=home) as store, store.write("x", LATER) as unit:
        assert unit.jobs.next_id() > job
        unit.jobs.add(a_job("J9"), verb="open")
        lines = list(unit.history.since(seq))
    assert [line.verb for line in lines] == ["restore", "open"]
    assert lines[0].who == "Mara"


def test_a_filled_database_is_left_alone_unless_told_and_then_lies_aside_whole(shop, tmp_path):
    home = tmp_path / "shop"
    made = keep(shop, tmp_path)
    (home / "index.npz").write_bytes(b"made of the jobs")
    with pytest.raises(StoreError, match="add --replace"):
        back(made, shop, home)
    assert jobs_of(shop, home) == ("J1", "J2", "J3")
    found = back(made, shop, home, replace=True, derived=("index.npz",))
    assert jobs_of(shop, home) == ("J1", "J2")
    assert found.aside is not None
    assert (found.aside / "index.npz").is_file()
    name = make_url(shop).database
    by_hand(shop, f"ALTER DATABASE {name} SET search_path TO {found.schema}")
    assert jobs_of(shop) == ("J1", "J2", "J3")


def test_a_running_server_is_noticed_and_nothing_moves(shop, tmp_path):
    made = keep(shop, tmp_path)
    with open_store(shop) as running:
        with running.read() as unit:
            assert unit.jobs.count() == 3
        with pytest.raises(StoreError, match="end baybook serve"):
            back(made, shop, tmp_path / "shop", replace=True)
    assert jobs_of(shop, tmp_path / "shop") == ("J1", "J2", "J3")


def test_what_goes_wrong_midway_leaves_the_old_shop_as_it_was(shop, tmp_path, monkeypatch):
    made = keep(shop, tmp_path)

    def broken(*_):
        raise StoreError("the cable is out")

    monkeypatch.setattr(server_restore, "copy_rows", broken)
    with pytest.raises(StoreError, match="the cable is out"):
        back(made, shop, tmp_path / "shop", replace=True)
    assert jobs_of(shop, tmp_path / "shop") == ("J1", "J2", "J3")


def test_a_damaged_backup_moves_nothing_unless_told(shop, empty_postgres_url, tmp_path):
    by_hand(shop, "UPDATE lines SET text = 'never typed' WHERE job_id = 'J2'")
    with pytest.raises(StoreError):
        make_backup(shop, tmp_path / "kept", home=tmp_path / "shop", at=NOW)
    (file,) = (tmp_path / "kept").glob("*-damaged.zip")
    known = {"home": tmp_path / "new", "who": "x", "at": NOW}
    with pytest.raises(StoreError, match="add --damaged"):
        restore_on_server(file, empty_postgres_url, wish=Wish(), **known)
    with connected(empty_postgres_url) as connection:
        assert tables_of(connection) == []
    found = restore_on_server(file, empty_postgres_url, wish=Wish(damaged=True), **known)
    assert found.damaged == ("J2",)


def test_a_role_that_may_make_no_database_is_told_before_anything_moves(shop, tmp_path):
    made = keep(shop, tmp_path)
    role = f"poor_{make_url(shop).database}"
    by_hand(shop, f"CREATE ROLE {role} LOGIN")
    try:
        poor = make_url(shop).set(username=role).render_as_string()
        with pytest.raises(StoreError, match="ALTER ROLE name CREATEDB"):
            back(made, poor, tmp_path / "shop", replace=True)
    finally:
        by_hand(shop, f"DROP ROLE {role}")
    assert jobs_of(shop) == ("J1", "J2", "J3")


def test_an_older_backup_comes_back_in_the_present_schema(shop, empty_postgres_url, tmp_path):
    downgrade(shop, "0003")
    made = make_backup(shop, tmp_path / "kept", home=tmp_path / "shop", at=NOW)
    assert made.manifest.holds.schema == "0003"
    back(made, empty_postgres_url, tmp_path / "new")
    assert jobs_of(empty_postgres_url, tmp_path / "new") == ("J1", "J2")


def test_the_backup_of_a_file_comes_back_on_a_server_but_not_the_other_way_round(
    shop, empty_postgres_url, tmp_path
):
    home = tmp_path / "in a file"
    make_store(default_url(home))
    fill(default_url(home), home)
    made = make_backup(default_url(home), tmp_path / "files", home=home, at=NOW)
    back(made, empty_postgres_url, tmp_path / "new")
    assert jobs_of(empty_postgres_url, tmp_path / "new") == ("J1", "J2")
    other = make_backup(shop, tmp_path / "kept", home=tmp_path / "shop", at=NOW)
    with pytest.raises(StoreError, match="got that of a server"):
        restore(other.path, default_url(tmp_path / "c"), who="x", at=NOW, wish=Wish())


def test_beginning_anew_puts_the_old_tables_aside(shop, tmp_path):
    home = tmp_path / "shop"
    schema = begin_anew_on_server(shop, home=home, at=NOW)
    assert jobs_of(shop, home) == ()
    with connected(shop) as connection:
        assert connection.exec_driver_sql(f"SELECT count(*) FROM {schema}.jobs").scalar() == 2
    assert not marker_file(home / SERVER).exists()


def test_another_database_is_taken_only_when_told(shop, postgres, empty_postgres_url, tmp_path):
    home = tmp_path / "shop"
    with pytest.raises(StoreError, match="got none"):
        take_server_as_it_is(empty_postgres_url, home)
    upgrade(empty_postgres_url)
    with pytest.raises(StoreError, match="another shop"):
        open_store(empty_postgres_url, home=home)
    take_server_as_it_is(empty_postgres_url, home)
    open_store(empty_postgres_url, home=home).close()
