"""A copy of a shop on PostgreSQL: dumped as of one moment, described, tried in another database."""

import hashlib
import secrets
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, inspect, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import DatabaseError

from kb.errors import StoreError
from kb.store import server_programs
from kb.store.copies import PASSING, Described
from kb.store.engine import begin, make_engine, open_store
from kb.store.faults import store_error
from kb.store.journal import Pen
from kb.store.marker import SHOP
from kb.store.tables import SCHEMA_REVISION
from kb.store.unit_of_work import UnitOfWork

# Stands in the manifest and is told where a backup could not be tried.
NO_RIGHT: Final = "not verified by restoring: the role may not make a database"
_TRIAL: Final = "baybook_trial_"
# A trial database this old was left by a backup that was killed (our choice).
_LEFT_S: Final = 86_400


@dataclass(frozen=True, slots=True, kw_only=True)
class Dumped:
    """A copy of a shop's database, and what it holds.

    ``wrong`` names jobs that are not as written; for ``schema_name`` and ``unverified`` see
    ``kb.store.archive.Manifest``.
    """

    copy: Path
    holds: Described
    schema_name: str = ""
    unverified: str = ""
    wrong: tuple[str, ...] = ()


def dump_and_check(url: str, target: Path) -> Dumped:
    """Write the shop's database on a server into ``target`` and try that out.

    It is restored into another database of the same server and every case hashed there. Where the
    role may not make one, the cases are hashed in the shop itself, and the result says so.

    Raises
    ------
    StoreError
        If pg_dump fails, or what it wrote holds something else than the shop.
    """
    with connected(url) as connection:
        may = may_make_databases(connection)
        holds, schema_name = describe_server(connection), schema_of(connection)
        _dump(connection, url, target)
        wrong = () if may else _damaged(connection, holds)
    if not may:
        return Dumped(
            copy=target, holds=holds, schema_name=schema_name, unverified=NO_RIGHT, wrong=wrong
        )
    with loaded(url, target, schema_name) as trial:
        wrong = check_server(trial, holds)
    return Dumped(copy=target, holds=holds, schema_name=schema_name, wrong=wrong)


@contextmanager
def connected(url: str, *, writes: bool = False) -> Iterator[Connection]:
    """Open one transaction on the database at ``url``.

    Raises
    ------
    StoreError
        If the database fails.
    """
    engine = make_engine(url)
    try:
        with begin(engine, writes=writes) as connection:
            yield connection
    except DatabaseError as error:
        raise store_error(error) from error
    finally:
        engine.dispose()


def schema_of(connection: Connection) -> str:
    """Return the schema that names without one lead to."""
    return str(connection.scalar(text("SELECT current_schema()")) or "public")


def may_make_databases(connection: Connection) -> bool:
    """Say whether the role may make a database."""
    query = "SELECT rolcreatedb OR rolsuper FROM pg_roles WHERE rolname = current_user"
    return bool(connection.scalar(text(query)))


def describe_server(connection: Connection) -> Described:
    """Return what a shop's database on a server holds, without who is signed in."""

    def one(query: str, **values: str) -> Any:
        return connection.scalar(text(query), values)

    digest = hashlib.sha256()
    for job_id, content_hash in connection.execute(
        text('SELECT id, content_hash FROM jobs ORDER BY id COLLATE "C"')
    ):
        digest.update(f"{job_id}\t{content_hash}\n".encode())
    photos = connection.execute(
        text('SELECT content_hash, size_bytes FROM photos ORDER BY content_hash COLLATE "C"')
    )
    return Described(
        shop=one("SELECT value FROM settings WHERE key = :key", key=SHOP) or "",
        schema=one("SELECT version_num FROM alembic_version") or "",
        seq=one("SELECT max(seq) FROM history") or 0,
        cases=digest.hexdigest(),
        tables={
            name: 0 if name in PASSING else one(f"SELECT count(*) FROM {quoted(name)}")  # noqa: S608 - from the catalogue
            for name in tables_of(connection)
        },
        photos=tuple((name, size) for name, size in photos),
    )


def tables_of(connection: Connection) -> list[str]:
    """Return the names of the tables in the connection's schema."""
    return sorted(inspect(connection).get_table_names())


def quoted(name: str) -> str:
    """Return a name as SQL takes it, whatever signs it has."""
    return '"' + name.replace('"', '""') + '"'


def _dump(connection: Connection, url: str, target: Path) -> None:
    """Let pg_dump write the very state that this transaction sees."""
    snapshot = str(connection.scalar(text("SELECT pg_export_snapshot()")))
    schema = quoted(schema_of(connection))
    tables = {name: f"{schema}.{quoted(name)}" for name in tables_of(connection)}
    bare = [tables[name] for name in PASSING if name in tables]
    server_programs.dump(url, target, snapshot=snapshot, tables=[*tables.values()], bare=bare)


def _damaged(connection: Connection, holds: Described) -> tuple[str, ...]:
    if holds.schema != SCHEMA_REVISION:
        return ()
    return UnitOfWork(Pen(connection, who=None, at=None)).jobs.verify_hashes()


def check_server(url: str, holds: Described) -> tuple[str, ...]:
    """Hold a copy against what it must hold; return the ids of jobs that are not as written.

    The cases of an older schema cannot be read by this program, so there its tables are counted
    and the hashes of its cases compared alone.

    Raises
    ------
    StoreError
        If it holds something else.
    """
    with connected(url) as connection:
        found = describe_server(connection)
    if found != holds:
        raise StoreError(
            "nothing was kept; expected a dump that holds what the shop holds, got another; "
            "look at the disks of this machine and of the server, then try again"
        )
    return check_cases(url)


def check_cases(url: str) -> tuple[str, ...]:
    """Return the ids of jobs of a copy that are not as written; none can be read in an older one."""
    with connected(url) as connection:
        if connection.scalar(text("SELECT version_num FROM alembic_version")) != SCHEMA_REVISION:
            return ()
    with open_store(url) as store, store.read() as unit:
        return unit.jobs.verify_hashes()


@contextmanager
def loaded(url: str, source: Path, schema_name: str) -> Iterator[str]:
    """Yield the URL of a database of its own, on the server of ``url``, with a dump in it.

    Raises
    ------
    StoreError
        If it cannot be made, or the dump is damaged.
    """
    name = f"{_TRIAL}{int(time.time())}_{secrets.token_hex(4)}"
    made = make_url(url).set(database=name).render_as_string(hide_password=False)
    _drop_left(url)
    _outside(url, f"CREATE DATABASE {name} TEMPLATE template0 ENCODING 'UTF8'")
    try:
        # The same way to names without a schema as in the shop.
        path = quoted(schema_name)
        _outside(made, f"CREATE SCHEMA IF NOT EXISTS {path}")
        _outside(made, f"ALTER DATABASE {name} SET search_path TO {path}")
        server_programs.load(made, source)
        yield made
    finally:
        _outside(url, f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")


def _drop_left(url: str) -> None:
    """Take away the trial databases of this role that killed backups left."""
    query = text(
        "SELECT datname FROM pg_database JOIN pg_roles ON pg_roles.oid = datdba "
        "WHERE starts_with(datname, :begin) AND rolname = current_user"
    )
    with connected(url) as connection:
        names = connection.scalars(query, {"begin": _TRIAL}).all()
    for name in names:
        made = name.removeprefix(_TRIAL).partition("_")[0]
        if made.isdecimal() and time.time() - int(made) > _LEFT_S:
            _outside(url, f"DROP DATABASE IF EXISTS {quoted(name)} WITH (FORCE)")


def _outside(url: str, statement: str) -> None:
    """Run a statement that no transaction may hold."""
    engine = make_engine(url)
    try:
        with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.exec_driver_sql(statement)
    except DatabaseError as error:
        raise store_error(error) from error
    finally:
        engine.dispose()
