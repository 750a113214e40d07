"""A whole shop copied into another database, SQLite or PostgreSQL: all of it and equal, or nothing."""

import hashlib
import json
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Final

from sqlalchemy import Connection, RowMapping, Table, func, insert, select, text
from sqlalchemy.exc import DatabaseError

from kb.errors import StoreError
from kb.store.columns import Base
from kb.store.engine import begin, make_engine, open_store
from kb.store.faults import store_error
from kb.store.journal import Pen, lock_generation
from kb.store.migrate import upgrade
from kb.store.postgres import is_postgres
from kb.store.seals import plain_value
from kb.store.tables import GenerationRow
from kb.store.unit_of_work import UnitOfWork

# Rows in one round, which bounds memory (our choice).
_ROUND: Final = 500
# Made with the tables, so it stands in an empty shop too.
_ALWAYS_THERE: Final = GenerationRow.__tablename__


def move_shop(
    source: str, target: str, *, progress: Callable[[str, int], None] | None = None
) -> Mapping[str, int]:
    """Copy the shop at the URL ``source`` into the empty database at ``target``.

    The source is locked against writers meanwhile and never changed. All rows go over in one
    transaction, which is committed only once every table has the same number of rows and the same
    hash on both sides, and every job still has the content that its own hash says.

    Parameters
    ----------
    source, target : str
        SQLAlchemy URLs; the tables are made in ``target`` where there are none.
    progress : callable, optional
        Gets the name of each table that is over, and its number of rows.

    Returns
    -------
    mapping of str to int
        The number of rows by table.

    Raises
    ------
    StoreError
        If the source is missing or damaged, the target holds a shop already, or what arrived
        differs from what was sent; the target is left empty.
    """
    # Says what is wrong with a source that cannot be read.
    open_store(source).close()
    upgrade(target)
    engines = make_engine(source), make_engine(target)
    try:
        with begin(engines[0], writes=True) as old, begin(engines[1], writes=True) as new:
            lock_generation(old)
            lock_generation(new)
            _refuse_filled(new)
            _refuse_damaged(old, "before the move; run baybook doctor")
            moved = copy_rows(old, new, progress)
            _refuse_damaged(new, "after it arrived; nothing was moved")
            return moved
    except DatabaseError as error:
        raise store_error(error) from error
    finally:
        for engine in engines:
            engine.dispose()


def copy_rows(
    old: Connection, new: Connection, progress: Callable[[str, int], None] | None
) -> dict[str, int]:
    """Copy every row between two shops' databases and hold each table against the other.

    Raises
    ------
    StoreError
        If what arrived differs from what was sent.
    """
    moved = {}
    for table in Base.metadata.sorted_tables:
        sent = _send(old, new, table)
        _set_counter(new, table, _counter(old, table))
        arrived = _digest(_rounds(new, table))
        if arrived != sent:
            raise StoreError(
                f"expected {sent[0]} equal rows in {table.name} after the move, got {arrived[0]} "
                "that differ; nothing was moved"
            )
        moved[table.name] = sent[0]
        if progress is not None:
            progress(table.name, sent[0])
    return moved


def _rounds(connection: Connection, table: Table) -> Iterator[Sequence[RowMapping]]:
    """Yield all rows of a table, some at a time, in the order of its key."""
    query = select(table).order_by(*table.primary_key)
    streamed = connection.execute(query, execution_options={"yield_per": _ROUND})
    try:
        yield from streamed.mappings().partitions()
    finally:
        streamed.close()


def _send(old: Connection, new: Connection, table: Table) -> tuple[int, str]:
    """Write the rows of one table into the other and return what ``_digest`` says of them."""
    if table.name == _ALWAYS_THERE:
        new.execute(table.delete())

    def sent() -> Iterator[Sequence[RowMapping]]:
        for rows in _rounds(old, table):
            new.execute(insert(table), [dict(row) for row in rows])
            yield rows

    return _digest(sent())


def _digest(rounds: Iterator[Sequence[RowMapping]]) -> tuple[int, str]:
    """Return the number of rows and the SHA-256 of all their values, as both engines give them."""
    count, made = 0, hashlib.sha256()
    for rows in rounds:
        count += len(rows)
        for row in rows:
            values = [plain_value(value) for value in row.values()]
            made.update(json.dumps(values).encode() + b"\n")
    return count, made.hexdigest()


def _refuse_filled(connection: Connection) -> None:
    for table in Base.metadata.sorted_tables:
        query = select(func.count()).select_from(table)
        if table.name == _ALWAYS_THERE:
            query = query.where(table.c.number > 0)
        if found := connection.scalar(query):
            raise StoreError(
                f"expected an empty database to move into, got {found} rows in {table.name}; "
                "nothing was changed; name another database with --to"
            )


def _refuse_damaged(connection: Connection, when: str) -> None:
    broken = UnitOfWork(Pen(connection, who=None, at=None)).jobs.verify_hashes()
    if broken:
        raise StoreError(f"expected every job as it was written, got {broken[0]} changed {when}")


# --- numbers that a database counts up by itself -------------------------------------------------


def _counter(connection: Connection, table: Table) -> int | None:
    """Return the last number that was given out, so that none is given twice; None for no counter."""
    column = table.autoincrement_column
    if column is None:
        return None
    if not is_postgres(connection):
        query = text("SELECT seq FROM sqlite_sequence WHERE name = :name")
        return connection.scalar(query, {"name": table.name}) or 0
    sequence = connection.scalar(select(func.pg_get_serial_sequence(table.name, column.name)))
    last = connection.execute(text(f"SELECT last_value, is_called FROM {sequence}")).one()  # noqa: S608 - a name from the catalogue
    return int(last.last_value) if last.is_called else 0


def _set_counter(connection: Connection, table: Table, last: int | None) -> None:
    column = table.autoincrement_column
    if column is None or not last:
        return
    if is_postgres(connection):
        sequence = func.pg_get_serial_sequence(table.name, column.name)
        connection.execute(select(func.setval(sequence, last)))
        return
    known = {"name": table.name, "last": last}
    connection.execute(text("DELETE FROM sqlite_sequence WHERE name = :name"), known)
    connection.execute(text("INSERT INTO sqlite_sequence (name, seq) VALUES (:name, :last)"), known)
