"""A shop brought back into PostgreSQL: checked before anything moves, the old tables kept aside."""

import secrets
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from sqlalchemy import Connection, text

from kb.errors import StoreError
from kb.store.archive import Manifest, unpack
from kb.store.copies import check_copy, describe
from kb.store.engine import DATABASE, default_url
from kb.store.journal import Pen, lock_generation
from kb.store.kept_photos import PHOTOS, copy_photos
from kb.store.marker import SERVER, marker_file, present, read_marker, write_marker
from kb.store.migrate import make_tables, schema_revision
from kb.store.move import copy_rows
from kb.store.restore import Restored, Wish, make_ready, put_aside
from kb.store.server_copies import (
    check_cases,
    connected,
    describe_server,
    loaded,
    may_make_databases,
    quoted,
    schema_of,
    tables_of,
)
from kb.store.unit_of_work import UnitOfWork

# Seconds in which a connection that was just closed is gone from the server's list (our choice).
_GONE_S: Final = 2.0


def restore_on_server(
    file: Path, url: str, *, home: Path, who: str, at: datetime, wish: Wish
) -> Restored:
    """Bring a shop back from a backup into a database on a server.

    The backup, of a server or of a file, is unpacked beside the shop (a dump into a database of
    its own), held against what it says, brought up to the present schema and every case hashed.
    Only then, in one transaction, the old tables are moved into a schema of another name, new ones
    made, and every row copied and compared.

    Parameters
    ----------
    file : Path
        A backup; its photos lie in the folder ``photos`` beside it.
    url : str
        The shop's database.
    home : Path
        The shop's folder.
    who : str
        Stands in the history.
    at : datetime
        Now, with a zone.
    wish : Wish
        What is allowed.

    Raises
    ------
    StoreError
        If tables are there and ``replace`` was not said, another program is at work on them, the
        role may not make a database for a dump, or the backup is not sound.
    """
    _refuse_filled(url, wish)
    home.mkdir(parents=True, exist_ok=True)
    with (
        tempfile.TemporaryDirectory(dir=home, prefix=".restoring-") as scratch,
        _unpacked(file, url, Path(scratch)) as (manifest, copy),
    ):
        before = read_marker(home / SERVER)
        in_file = not manifest.schema_name
        damaged, tokens = make_ready(
            copy,
            lambda: check_copy(Path(scratch) / DATABASE) if in_file else check_cases(copy),
            who=who, at=at, wish=wish, seen=(before.seq if before else None) or 0,
        )  # fmt: skip
        names = [name for name, _ in manifest.holds.photos]
        photos = copy_photos(names, file.parent / PHOTOS, home / PHOTOS)
        schema = _take_over(copy, url, at=at, damaged=damaged)
    aside = put_aside(home / SERVER, at=at, why="before-restore", others=wish.derived)
    with connected(url) as connection:
        write_marker(home / SERVER, replace(present(connection), backup=str(file.resolve())))
    return Restored(
        manifest=manifest,
        photos=photos,
        damaged=damaged,
        aside=aside,
        tokens=tokens,
        schema=schema,
    )


def begin_anew_on_server(
    url: str, *, home: Path, at: datetime, derived: Sequence[str] = ()
) -> str | None:
    """Make empty tables where a shop's were; return the schema that the old ones lie in, if any.

    Raises
    ------
    StoreError
        If another program is at work on the old tables.
    """
    with connected(url, writes=True) as connection:
        schema = _set_aside(connection, at, "before_anew")
        make_tables(connection)
    put_aside(home / SERVER, at=at, why="before-anew", others=derived)
    marker_file(home / SERVER).unlink(missing_ok=True)
    return schema


def take_server_as_it_is(url: str, home: Path) -> None:
    """Let the database on the server be the shop's, though the marker tells of another.

    Raises
    ------
    StoreError
        If it has no tables of a shop.
    """
    if schema_revision(url) is None:
        raise StoreError("expected a shop's tables in the database that BAYBOOK_DB names, got none")
    marker_file(home / SERVER).unlink(missing_ok=True)


def _refuse_filled(url: str, wish: Wish) -> None:
    with connected(url) as connection:
        found = tables_of(connection)
    if found and not wish.replace:
        raise StoreError(
            f"expected an empty database, got one with {len(found)} tables; add --replace to put "
            "them aside under another schema and take the backup instead"
        )


@contextmanager
def _unpacked(file: Path, url: str, scratch: Path) -> Iterator[tuple[Manifest, str]]:
    """Yield what a backup holds and the URL of a copy of it, held against what it says."""
    manifest = unpack(file, scratch)
    part = scratch / manifest.part
    if not manifest.schema_name:
        _refuse_other(file, same=describe(part) == manifest.holds)
        yield manifest, default_url(scratch)
        return
    with connected(url) as connection:
        if not may_make_databases(connection):
            raise StoreError(
                "expected a role that may make a database, so that the backup is checked before "
                "anything moves, got one that may not; let the server's keeper run "
                "ALTER ROLE name CREATEDB"
            )
    with loaded(url, part, manifest.schema_name) as copy:
        with connected(copy) as connection:
            same = describe_server(connection) == manifest.holds
        _refuse_other(file, same=same)
        yield manifest, copy


def _refuse_other(file: Path, *, same: bool) -> None:
    if not same:
        raise StoreError(f"expected what {file} says it holds, got another; take another")


def _take_over(copy: str, url: str, *, at: datetime, damaged: tuple[str, ...]) -> str | None:
    """Put the copy in the place of the old tables, all of it or nothing."""
    with connected(copy, writes=True) as old, connected(url, writes=True) as new:
        lock_generation(old)
        schema = _set_aside(new, at, "before_restore")
        make_tables(new)
        copy_rows(old, new, None)
        found = UnitOfWork(Pen(new, who=None, at=None)).jobs.verify_hashes()
        if found != damaged:
            raise StoreError(f"expected every job as checked before, got {found[:1]}; none moved")
    return schema


def _set_aside(connection: Connection, at: datetime, why: str) -> str | None:
    """Move all tables into a schema of another name; return it, None where there are none."""
    tables = tables_of(connection)
    if not tables:
        return None
    _refuse_others_at_work(connection)
    own = quoted(schema_of(connection))
    stamp = at.astimezone(UTC).strftime("%Y%m%d_%H%M%S")
    aside = f"{why}_{stamp}_{secrets.token_hex(2)}"
    connection.exec_driver_sql(f"CREATE SCHEMA {aside}")
    for table in tables:
        connection.exec_driver_sql(f"ALTER TABLE {own}.{quoted(table)} SET SCHEMA {aside}")
    return aside


def _refuse_others_at_work(connection: Connection) -> None:
    """Refuse while another program of this role has the database open."""
    query = text(
        "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() "
        "AND usename = current_user AND pid <> pg_backend_pid()"
    )
    end = time.monotonic() + _GONE_S
    while found := connection.scalar(query):
        if time.monotonic() > end:
            raise StoreError(
                f"expected the database for this command alone, got {found} more connections; "
                "end baybook serve, then try again"
            )
        time.sleep(0.05)
        # Else a transaction sees the list as it was at its first look.
        connection.execute(text("SELECT pg_stat_clear_snapshot()"))
