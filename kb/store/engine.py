"""From a URL to units of work: one transaction each, committed once or rolled back whole.

The SQLite driver's own transactions lose updates when two processes read and then write, without
an error; so its transactions are switched off here and begun by hand in ``begin``, writing ones
with ``BEGIN IMMEDIATE``, which takes the write lock before the first read.
"""

import threading
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, Self

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import URL, make_url
from sqlalchemy.exc import ArgumentError, DatabaseError

from kb.errors import StoreError
from kb.store import postgres
from kb.store.data_version import DataVersion
from kb.store.faults import store_error
from kb.store.journal import (
    Pen,
    bump_generation,
    generation,
    lock_generation,
    renew_state,
    state,
)
from kb.store.marker import marked_place, name_shop, present, refuse_lost, write_marker
from kb.store.opening import check_opened
from kb.store.seals import seal_changed
from kb.store.truncation import LOG_BYTES
from kb.store.turn import Turn
from kb.store.unit_of_work import UnitOfWork

# The SQLite database inside the shop's data folder.
DATABASE: Final = "baybook.db"
_PATIENCE: Final = "baybook_patience"
# Waiting for another process's write; a close is milliseconds (our choice).
BUSY_MILLISECONDS: Final = 10_000


def default_url(home: Path) -> str:
    """Return the URL of the SQLite database in the shop's data folder."""
    return URL.create("sqlite", database=str(home / DATABASE)).render_as_string()


def sqlite_file(url: str) -> Path | None:
    """Return the file of a SQLite URL, None for another database.

    Raises
    ------
    StoreError
        If ``url`` is no SQLAlchemy URL, or a SQLite database without a file.
    """
    try:
        parsed = make_url(url)
    except ArgumentError as error:
        raise StoreError(
            f"expected a database URL like sqlite:////folder/baybook.db, got '{url}'; "
            "look at BAYBOOK_DB"
        ) from error
    if parsed.get_backend_name() != "sqlite":
        return None
    if not parsed.database or parsed.database == ":memory:":
        raise StoreError(f"expected a SQLite URL with a file, got '{url}'; look at BAYBOOK_DB")
    return Path(parsed.database)


def make_engine(url: str, *, foreign_keys: bool = True) -> Engine:
    """Return an engine with the switches that this store needs; migrations go without keys."""
    try:
        # What is written, and hashes of secrets, belong into no error message and no log.
        # A connection that broke while nobody used it (the server began anew) is replaced.
        # The one used last is used next: each fills a cache of pages of its own, 2 MB.
        engine = create_engine(
            url,
            hide_parameters=True,
            pool_pre_ping=not url.startswith("sqlite"),
            pool_use_lifo=True,
        )
    except (ArgumentError, ImportError) as error:
        raise StoreError(
            f"expected a database that this Python can open, got: {error}; for PostgreSQL install "
            "baybook[postgres]"
        ) from error
    if engine.dialect.name == "sqlite":

        @event.listens_for(engine, "connect")
        def switch(connection: Any, record: Any) -> None:
            connection.isolation_level = None
            cursor = connection.cursor()
            for pragma in (
                f"busy_timeout={BUSY_MILLISECONDS}",
                "journal_mode=WAL",
                "synchronous=FULL",
                f"journal_size_limit={LOG_BYTES}",
                f"foreign_keys={'ON' if foreign_keys else 'OFF'}",
            ):
                cursor.execute(f"PRAGMA {pragma}")
            cursor.close()

    return engine


@contextmanager
def begin(engine: Engine, *, writes: bool, patience_ms: int | None = None) -> Iterator[Connection]:
    """Open a transaction; one that ``writes`` takes the write lock before its first read.

    With ``patience_ms`` it waits no longer for a lock that another holds.
    """
    wait = BUSY_MILLISECONDS if patience_ms is None else patience_ms
    with engine.connect() as connection:
        if postgres.is_postgres(connection):
            connection.execution_options(**postgres.options(writes=writes))
        with connection.begin():
            if not postgres.is_postgres(connection):
                _begin_in_sqlite(connection, writes=writes, wait=wait)
            elif writes:
                postgres.be_patient(connection, wait)
            yield connection


def _begin_in_sqlite(connection: Connection, *, writes: bool, wait: int) -> None:
    # A pooled connection may still have the patience of who used it before.
    if connection.info.get(_PATIENCE, BUSY_MILLISECONDS) != wait:
        connection.exec_driver_sql(f"PRAGMA busy_timeout={wait:d}")
        connection.info[_PATIENCE] = wait
    if writes:
        connection.exec_driver_sql("BEGIN IMMEDIATE")
    else:
        # It looks at no file and cannot fail. Every page begins a few times: past SQLAlchemy a
        # transaction that reads costs 18 microseconds, by an event of it 36.
        connection.connection.cursor().execute("BEGIN")


class _Reading(threading.local):
    """The unit of work in which a thread reads now, if any."""

    unit: UnitOfWork | None = None


class Store:
    """The shop's database, from ``open_store``.

    Safe to share between threads; writers of all processes queue, see ``kb.store.turn``.
    ``version`` says whether anybody wrote since.
    """

    def __init__(
        self, engine: Engine, place: Path | None = None, *, database: Path | None = None
    ) -> None:
        self._engine = engine
        self._place = place
        self._turn = Turn(database)
        self._writer: int | None = None
        self._reading = _Reading()
        self.version = DataVersion(engine)

    @contextmanager
    def write(
        self, who: str, at: datetime, *, patience_ms: int | None = None
    ) -> Iterator[UnitOfWork]:
        """Open a unit of work that commits once at its end, or rolls back on any error.

        Parameters
        ----------
        who : str
            Stands in the history.
        at : datetime
            With a zone; the clock is the caller's.
        patience_ms : int, optional
            Milliseconds to wait at each door for other writers; a write without it queues.

        Raises
        ------
        StoreError
            If the moment has no zone, units are nested, or the database fails or stays busy.
        """
        if at.tzinfo is None:
            raise StoreError(f"expected a moment with a zone, got {at.isoformat()}; use UTC")
        if self._writer == threading.get_ident():
            raise StoreError("expected one write unit at a time, got one in another; use the outer")
        with self._turn_taken(patience_ms):
            self._writer = threading.get_ident()
            try:
                with self._transaction(writes=True, patience_ms=patience_ms) as connection:
                    lock_generation(connection)
                    unit = UnitOfWork(Pen(connection, who=who, at=at.astimezone(UTC)))
                    yield unit
                    if unit.jobs.written:
                        bump_generation(connection)
                    if unit.jobs.closed_written:
                        renew_state(connection)
                    seal_changed(connection)
            finally:
                self._writer = None

    def _turn_taken(self, patience_ms: int | None) -> AbstractContextManager[None]:
        others_ms = BUSY_MILLISECONDS if patience_ms is None else patience_ms
        return self._turn.taken(patience_ms, others_ms=others_ms)

    @contextmanager
    def read(self) -> Iterator[UnitOfWork]:
        """Open a unit of work that sees one state of the database and cannot write.

        Inside another one of the same thread it is that one: a page that asks in many places sees
        one state.
        """
        if (outer := self._reading.unit) is not None:
            yield outer
            return
        version = self.version.now()
        with self._transaction(writes=False) as connection:
            self._reading.unit = UnitOfWork(Pen(connection, who=None, at=None), version)
            try:
                yield self._reading.unit
            finally:
                self._reading.unit = None

    def generation(self) -> int:
        """Return a number that grows whenever a job is written, by any process."""
        with self._transaction(writes=False) as connection:
            return generation(connection)

    def state(self) -> str:
        """Return what names the state of the closed jobs; any process that writes one renews it."""
        with self._transaction(writes=False) as connection:
            return state(connection)

    def mark(self, *, backup: Path | None = None) -> None:
        """Note beside the database what it holds now, so that a lost or older one is noticed.

        A shop without an id gets one. A ``backup`` is named to whoever misses the database.
        """
        with self._turn_taken(None), self._transaction(writes=True) as connection:
            name_shop(connection)
            seal_changed(connection)
            found = present(connection)
        if self._place is not None:
            self._place.parent.mkdir(parents=True, exist_ok=True)
            noted = None if backup is None else str(backup.resolve())
            write_marker(self._place, replace(found, backup=noted))

    def close(self) -> None:
        """Close every connection."""
        self.version.close()
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *error: object) -> None:
        self.close()

    @contextmanager
    def _transaction(self, *, writes: bool, patience_ms: int | None = None) -> Iterator[Connection]:
        try:
            with begin(self._engine, writes=writes, patience_ms=patience_ms) as connection:
                yield connection
        except DatabaseError as error:
            raise store_error(error) from error


def open_store(url: str, *, home: Path | None = None) -> Store:
    """Return the store at ``url``.

    Parameters
    ----------
    url : str
        SQLAlchemy URL.
    home : Path, optional
        The shop's folder, where the marker of a database on a server lies; that of a file lies
        beside the file.

    Raises
    ------
    StoreError
        If there is no database, an empty one, one of another schema, or another than its marker
        tells of; says what to run.
    """
    file = sqlite_file(url)
    if file is not None:
        refuse_lost(file)
        if not file.is_file():
            raise StoreError(
                f"expected the shop's database at {file}, got no file; run baybook init"
            )
    engine, place = make_engine(url), marked_place(file, home)
    try:
        check_opened(engine, file, place)
    except BaseException:
        engine.dispose()
        raise
    return Store(engine, place, database=file)
