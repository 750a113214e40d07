import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import inspect

from kb.errors import StoreError
from kb.store import migrate
from kb.store.archive import read_manifest
from kb.store.backup_files import backups_in
from kb.store.engine import default_url, make_engine, open_store
from kb.store.migrate import bundled, downgrade, schema_revision, upgrade
from kb.store.tables import SCHEMA_REVISION, JobRow
from tests.factories import a_full_case
from tests.kb.store.by_hand import by_hand
from tests.kb.store.other_process import NOW

LATER = """
import sqlalchemy as sa
from alembic import op

revision = "9001"
down_revision = "{head}"


def jobs_table():
    # PostgreSQL changes a table where it stands.
    anew = "always" if op.get_bind().dialect.name == "sqlite" else "never"
    return op.batch_alter_table("jobs", recreate=anew)


def upgrade() -> None:
    op.create_table("extras", sa.Column("id", sa.Integer(), primary_key=True))
    with jobs_table() as jobs:
        jobs.add_column(sa.Column("bay", sa.Text(), nullable=True))
    {then}


def downgrade() -> None:
    with jobs_table() as jobs:
        jobs.drop_column("bay")
    op.drop_table("extras")
"""


@pytest.fixture
def filled_url(store_url):
    """Return the URL of a store that holds a full case."""
    with open_store(store_url) as store, store.write("x", NOW) as unit:
        unit.jobs.add(a_full_case("J1"), verb="import")
    return store_url


@pytest.fixture
def later(tmp_path, monkeypatch):
    """Return a function that makes a migration of the future known."""

    def make(then="pass"):
        folder = tmp_path / "later"
        shutil.copytree(bundled("migrations"), folder)
        text = LATER.format(head=SCHEMA_REVISION, then=then)
        (folder / "versions" / "9001_later.py").write_text(text, encoding="utf-8")
        monkeypatch.setattr(migrate, "bundled", lambda _: folder)

    return make


def tables_of(url: str) -> set[str]:
    engine = make_engine(url)
    names = set(inspect(engine).get_table_names())
    engine.dispose()
    return names


def full_case_is_whole(url: str) -> bool:
    with open_store(url) as store, store.read() as unit:
        return unit.jobs.get("J1") == a_full_case("J1") and unit.jobs.verify_hashes() == ()


def test_the_migrations_make_exactly_the_tables_of_the_code(store_url):
    engine = make_engine(store_url)
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_server_default": True})
        assert compare_metadata(context, JobRow.metadata) == []
        assert set(inspect(connection).get_table_names()) > set(JobRow.metadata.tables)
    engine.dispose()


def test_the_code_names_the_newest_migration(store_url):
    assert schema_revision(store_url) == SCHEMA_REVISION


def test_there_is_no_revision_before_the_first_migration(tmp_path):
    assert schema_revision(default_url(tmp_path)) is None
    assert list(tmp_path.iterdir()) == []


def test_upgrading_twice_changes_nothing(filled_url):
    upgrade(filled_url)
    assert full_case_is_whole(filled_url)


def test_a_filled_database_goes_down_and_up_again(filled_url):
    downgrade(filled_url, "base")
    assert tables_of(filled_url) == {"alembic_version"}
    upgrade(filled_url)
    with open_store(filled_url) as store, store.read() as unit:
        assert unit.jobs.count() == 0


def test_building_a_table_anew_keeps_every_row_that_hangs_on_it(filled_url, later):
    later()
    upgrade(filled_url)
    assert schema_revision(filled_url) == "9001"
    with pytest.raises(StoreError, match="newer"):
        open_store(filled_url)
    downgrade(filled_url, SCHEMA_REVISION)
    assert full_case_is_whole(filled_url)


def test_a_migration_that_fails_halfway_changes_nothing(filled_url, later):
    later("raise ZeroDivisionError")
    with pytest.raises(ZeroDivisionError):
        upgrade(filled_url)
    assert schema_revision(filled_url) == SCHEMA_REVISION
    assert "extras" not in tables_of(filled_url)
    assert full_case_is_whole(filled_url)


@pytest.mark.sqlite_only("keys that are off while tables are built anew")
def test_a_migration_that_would_leave_rows_without_their_job_is_undone(filled_url, later):
    later("""op.execute("DELETE FROM jobs")""")
    with pytest.raises(StoreError, match="nothing was changed"):
        upgrade(filled_url)
    assert full_case_is_whole(filled_url)


@pytest.mark.slow
def test_an_upgrade_that_is_killed_leaves_the_old_shop_and_comes_up_the_next_time(tmp_path):
    """Before every eighth statement here; by hand before each."""
    command = [sys.executable, "-m", "tests.kb.store.killed_upgrades", str(tmp_path), "8"]
    ended = subprocess.run(
        command, cwd=Path(__file__).parents[3], capture_output=True, text=True, check=True
    )
    killed = int(re.findall(r"killed at (\d+) statements", ended.stdout)[0])
    assert killed >= 10


def test_an_older_shop_is_backed_up_before_it_changes(filled_url, tmp_path):
    downgrade(filled_url, "0003")
    assert backups_in(tmp_path / "backups") == ()
    upgrade(filled_url, home=tmp_path)
    upgrade(filled_url, home=tmp_path)
    (made,) = backups_in(tmp_path / "backups")
    assert read_manifest(made.path).holds.schema == "0003"


def test_a_shop_whose_backup_fails_is_not_changed(filled_url, tmp_path):
    downgrade(filled_url, "0003")
    (tmp_path / "backups").write_text("no folder")
    with pytest.raises(OSError, match="File exists"):
        upgrade(filled_url, home=tmp_path)
    assert schema_revision(filled_url) == "0003"


def test_a_new_shop_that_is_killed_while_it_is_made_is_no_shop_yet(tmp_path, later):
    later("raise ZeroDivisionError")
    with pytest.raises(ZeroDivisionError):
        upgrade(default_url(tmp_path / "shop"))
    assert list((tmp_path / "shop").iterdir()) == []


def test_a_newer_schema_is_refused_and_left_alone(filled_url):
    by_hand(filled_url, "UPDATE alembic_version SET version_num = '9999'")
    with pytest.raises(StoreError, match="got the newer 9999; install the newer Baybook"):
        upgrade(filled_url)
    assert schema_revision(filled_url) == "9999"


def test_a_file_that_is_no_database_is_told_in_plain_words(tmp_path):
    (tmp_path / "baybook.db").write_bytes(b"not a database, but long enough " * 40)
    with pytest.raises(StoreError, match="baybook restore"):
        upgrade(default_url(tmp_path))


def test_upgrading_makes_the_folder(tmp_path):
    url = default_url(tmp_path / "a" / "b")
    upgrade(url)
    assert schema_revision(url) == SCHEMA_REVISION


def test_the_packed_folder_goes_before_the_one_of_the_checkout(tmp_path, monkeypatch):
    assert (bundled("migrations") / "env.py").is_file()
    assert bundled("seed_cases").is_dir()
    packed = tmp_path / "kb" / "_bundle" / "migrations"
    monkeypatch.setattr(migrate, "_KB", tmp_path / "kb")
    assert bundled("migrations") == tmp_path / "migrations"
    packed.mkdir(parents=True)
    assert bundled("migrations") == packed


def test_opening_a_store_does_not_import_alembic():
    ended = subprocess.run(
        [
            sys.executable,
            "-c",
            "import sys, kb.store.engine, kb.store.migrate; print('alembic' in sys.modules)",
        ],
        cwd=Path(__file__).parents[3],
        capture_output=True,
        text=True,
        check=True,
    )
    assert ended.stdout.strip() == "False"
