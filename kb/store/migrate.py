"""Making the schema and bringing an older one up to date; Alembic is needed nowhere else."""

import tempfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import Connection
from sqlalchemy.exc import DatabaseError

from kb.errors import StoreError
from kb.store import postgres
from kb.store.backup import make_backup
from kb.store.backup_files import FOLDER, take_name
from kb.store.engine import begin, default_url, make_engine, sqlite_file
from kb.store.faults import store_error
from kb.store.marker import SERVER, refuse_gone, refuse_lost
from kb.store.seals import seal_changed
from kb.store.tables import SCHEMA_REVISION

if TYPE_CHECKING:
    from alembic.config import Config

_KB = Path(__file__).resolve().parent.parent


def bundled(name: str) -> Path:
    """Return the folder ``name`` as packed into the wheel, or beside ``kb`` in a checkout."""
    packed = _KB / "_bundle" / name
    return packed if packed.exists() else _KB.parent / name


def upgrade(
    url: str, revision: str = "head", *, backups: Path | None = None, home: Path | None = None
) -> None:
    """Make or upgrade the schema at ``url`` in one transaction; all of it or nothing.

    An older shop is backed up first. A new file is made aside, so that a file of no bytes is never
    a shop that was just begun.

    Parameters
    ----------
    url : str
        SQLAlchemy URL.
    revision : str
        The newest unless told otherwise.
    backups : Path, optional
        The folder of backups; beside the database unless told otherwise.
    home : Path, optional
        The shop's folder; without it a database on a server has no marker and no backup.

    Raises
    ------
    StoreError
        If a shop was there and its database is gone, the schema is newer than this code knows,
        or rows would be left without their job.
    """
    file = sqlite_file(url)
    if file is None:
        if home is not None:
            _ready_server(url, home, backups or home / FOLDER)
        _migrate(url, revision, up=True)
        return
    refuse_lost(file)
    file.parent.mkdir(parents=True, exist_ok=True)
    if not file.exists():
        make_new(file, revision)
        return
    _back_up_older(
        schema_revision(url), url, backups=backups or file.parent / FOLDER, home=file.parent
    )
    _migrate(url, revision, up=True)


def make_new(file: Path, revision: str = "head") -> None:
    """Make a new database under another name, then give it its own; a kill leaves none.

    One that was there meanwhile stays as it is.
    """
    with tempfile.TemporaryDirectory(dir=file.parent, prefix=".new-") as scratch:
        made = default_url(Path(scratch))
        _migrate(made, revision, up=True)
        new = sqlite_file(made)
        if new is not None:
            take_name(new, file)


def _ready_server(url: str, home: Path, backups: Path) -> None:
    """Refuse a server's database that lost its shop; keep one of an older schema."""
    found = schema_revision(url)
    if found is None:
        refuse_gone(home / SERVER, "one without tables")
    _back_up_older(found, url, backups=backups, home=home)


def _back_up_older(found: str | None, url: str, *, backups: Path, home: Path) -> None:
    """Keep a shop of an older schema before it changes."""
    if found is None or found >= SCHEMA_REVISION:
        return
    make_backup(url, backups, home=home, at=datetime.now(UTC))


def downgrade(url: str, revision: str) -> None:
    """Take the schema at ``url`` back to ``revision`` (``base`` empties the database)."""
    _migrate(url, revision, up=False)


def schema_revision(url: str) -> str | None:
    """Return the revision of the schema at ``url``, None where there is none."""
    file = sqlite_file(url)
    if file is not None and not file.is_file():
        return None
    engine = make_engine(url)
    try:
        with engine.connect() as connection:
            return _revision_of(connection)
    except DatabaseError as error:
        raise store_error(error) from error
    finally:
        engine.dispose()


def _revision_of(connection: Connection) -> str | None:
    from alembic.runtime.migration import MigrationContext  # noqa: PLC0415 - slow to import

    return MigrationContext.configure(connection).get_current_revision()


def _migrate(url: str, revision: str, *, up: bool) -> None:
    from alembic import command  # noqa: PLC0415 - slow to import

    config = _config()
    _refuse_newer(config, schema_revision(url))
    # SQLite changes a table by building it anew; with foreign keys on, dropping the old one would
    # silently take every row that hangs on it. They can only be switched outside a transaction.
    engine = make_engine(url, foreign_keys=False)
    try:
        with begin(engine, writes=True) as connection:
            change = command.upgrade if up else command.downgrade
            _run(change, config, revision, connection=connection)
            if up and _revision_of(connection) == SCHEMA_REVISION:
                seal_changed(connection)
    except DatabaseError as error:
        raise store_error(error) from error
    finally:
        engine.dispose()


def make_tables(connection: Connection) -> None:
    """Make the tables of the present schema within a transaction that goes on."""
    from alembic import command  # noqa: PLC0415 - slow to import

    _run(command.upgrade, _config(), "head", connection=connection)


def _run(
    command: Callable[["Config", str], None],
    config: "Config",
    revision: str,
    *,
    connection: Connection,
) -> None:
    config.attributes["connection"] = connection
    if postgres.is_postgres(connection):
        postgres.before_upgrade(connection)
    command(config, revision)
    _refuse_orphans(connection)
    if postgres.is_postgres(connection):
        postgres.after_upgrade(connection)


def _config() -> "Config":
    from alembic.config import Config  # noqa: PLC0415 - slow to import

    config = Config()
    config.set_main_option("script_location", str(bundled("migrations")).replace("%", "%%"))
    return config


def _refuse_newer(config: "Config", found: str | None) -> None:
    from alembic.script import ScriptDirectory  # noqa: PLC0415 - slow to import

    known = {script.revision for script in ScriptDirectory.from_config(config).walk_revisions()}
    if found is not None and found not in known:
        raise StoreError(
            f"expected a schema up to {max(known)}, got the newer {found}; install the newer Baybook"
        )


def _refuse_orphans(connection: Connection) -> None:
    if connection.dialect.name != "sqlite":
        return
    orphans = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    if orphans:
        raise StoreError(
            f"expected every row with its job after the upgrade, got {len(orphans)} without; "
            "nothing was changed; restore a backup, then try again"
        )
