"""A copy of the shop's database as one SQLite file: taken while others write, described, checked."""

import hashlib
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from kb.errors import StoreError
from kb.store.engine import BUSY_MILLISECONDS, default_url, open_store
from kb.store.marker import SHOP
from kb.store.tables import SCHEMA_REVISION

# What lets somebody in for a while is worth nothing later, and must not come back to life.
PASSING: Final = ("sessions", "sign_in_links", "failed_sign_ins")


@dataclass(frozen=True, slots=True, kw_only=True)
class Described:
    """What a database holds.

    Parameters
    ----------
    shop, schema : str
        The shop's id (empty where it has none yet) and the revision of its tables.
    seq : int
        The number of the newest line of history.
    cases : str
        SHA-256 over every job's id and content hash, in the order of the ids.
    tables : dict of str to int
        Rows by table.
    photos : tuple of (str, int)
        SHA-256 and bytes of each photo of a job.
    """

    shop: str
    schema: str
    seq: int
    cases: str
    tables: dict[str, int]
    photos: tuple[tuple[str, int], ...]


def copy_sqlite(source: Path, target: Path) -> None:
    """Copy a SQLite database while others write to it: one state of it, no half of a write.

    SQLite's own backup, in one step under one read transaction: writers go on meanwhile. The copy
    holds nothing that lets anybody in for a while, and is one file without a log beside it.

    Raises
    ------
    StoreError
        If there is no sound database to copy.
    """
    try:
        with _opened(source) as old, closing(sqlite3.connect(target)) as new:
            target.chmod(0o600)
            old.backup(new, pages=-1)
            new.execute("PRAGMA journal_mode=DELETE")
            strip(new)
    except sqlite3.Error as error:
        raise StoreError(
            f"nothing was kept; expected a sound database in {source}, got: {error}; "
            "run baybook doctor"
        ) from error


def strip(connection: sqlite3.Connection) -> None:
    """Take out what lets somebody in for a while, so that the bytes are gone too."""
    connection.execute("PRAGMA secure_delete=ON")
    known = _tables(connection)
    for table in PASSING:
        if table in known:
            connection.execute(f"DELETE FROM {table}")  # noqa: S608 - one of three names above
    connection.commit()


@contextmanager
def _opened(file: Path) -> Iterator[sqlite3.Connection]:
    """Open a database for reading."""
    uri = f"{file.resolve().as_uri()}?mode=ro"
    with closing(sqlite3.connect(uri, uri=True, timeout=BUSY_MILLISECONDS / 1000)) as connection:
        yield connection


def _tables(connection: sqlite3.Connection) -> tuple[str, ...]:
    query = (
        "SELECT name FROM sqlite_schema WHERE type = 'table' "
        "AND name NOT LIKE 'sqlite\\_%' ESCAPE '\\' ORDER BY name"
    )
    return tuple(row[0] for row in connection.execute(query))


def describe(file: Path) -> Described:
    """Return what the database in ``file`` holds.

    Raises
    ------
    StoreError
        If it is no shop's database, or a damaged one.
    """
    try:
        with _opened(file) as connection:
            return _described(connection)
    except sqlite3.Error as error:
        raise StoreError(
            f"expected a shop's database in {file.name}, got: {error}; take another backup"
        ) from error


def _described(connection: sqlite3.Connection) -> Described:
    def one(query: str, *values: str) -> object:
        row = connection.execute(query, values).fetchone()
        return None if row is None else row[0]

    digest = hashlib.sha256()
    for job_id, content_hash in connection.execute("SELECT id, content_hash FROM jobs ORDER BY id"):
        digest.update(f"{job_id}\t{content_hash}\n".encode())
    photos = connection.execute("SELECT content_hash, size_bytes FROM photos ORDER BY content_hash")
    return Described(
        shop=str(one("SELECT value FROM settings WHERE key = ?", SHOP) or ""),
        schema=str(one("SELECT version_num FROM alembic_version") or ""),
        seq=int(str(one("SELECT max(seq) FROM history") or 0)),
        cases=digest.hexdigest(),
        tables={
            table: int(str(one(f'SELECT count(*) FROM "{table}"')))  # noqa: S608 - from the schema
            for table in _tables(connection)
        },
        photos=tuple((str(name), int(size)) for name, size in photos),
    )


def check_copy(file: Path) -> tuple[str, ...]:
    """Check a copy from page to case; return the ids of jobs that are no longer as written.

    The cases of an older schema cannot be read by this program, so there its pages and keys are
    checked alone.

    Parameters
    ----------
    file : Path
        A copy of its own folder, under the name of a shop's database.

    Raises
    ------
    StoreError
        If its pages are damaged, or rows are left without what they belong to.
    """
    _check_pages(file)
    if describe(file).schema != SCHEMA_REVISION:
        return ()
    with open_store(default_url(file.parent)) as store, store.read() as unit:
        return unit.jobs.verify_hashes()


def _check_pages(file: Path) -> None:
    try:
        with _opened(file) as connection:
            found = [row[0] for row in connection.execute("PRAGMA integrity_check(5)")]
            orphans = connection.execute("PRAGMA foreign_key_check").fetchall()
    except sqlite3.Error as error:
        found, orphans = [str(error)], []
    if orphans:
        found = [f"{len(orphans)} rows without what they belong to"]
    if found != ["ok"]:
        raise StoreError(
            f"expected a sound database in the backup, got: {'; '.join(map(str, found))}; "
            "take another backup"
        )
