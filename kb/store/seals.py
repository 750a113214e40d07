"""A seal on every row that no content hash covers: a short hash of what was written.

Against rot of the disk, not against a forger. A row gets its seal when it is inserted; a change
takes it off, and the end of the unit of work puts a new one on. A row whose seal does not fit was
changed by something else than this program.
"""

import hashlib
import json
from collections.abc import Mapping
from datetime import UTC, date, datetime
from enum import Enum
from functools import cache
from typing import Any, Final

from sqlalchemy import (
    Connection,
    Index,
    RowMapping,
    Table,
    bindparam,
    exists,
    literal,
    null,
    select,
    union_all,
    update,
)
from sqlalchemy.exc import DatabaseError
from sqlalchemy.orm import Mapped, mapped_column
from typing_extensions import override

from kb.store.asked import Asked
from kb.store.columns import Base

# Two rows that differ share a seal once in 2**64; rows sealed in one round, which bounds memory
# (our choices).
_BYTES: Final = 8
_ROUND: Final = 500
_DAMAGED: Final = (DatabaseError, TypeError, ValueError)


def seal_of(table: Table, row: RowMapping | Mapping[str, Any]) -> str:
    """Return the seal of a row: 16 hex digits over the values of its columns.

    A number that the database counts up by itself is left out: it is not known before the insert.
    """
    left_out = {"seal", getattr(table.autoincrement_column, "name", "seal")}
    values = [
        plain_value(row.get(column.name)) for column in table.c if column.name not in left_out
    ]
    text = json.dumps(values, ensure_ascii=False).encode("utf-8", "surrogatepass")
    return hashlib.blake2b(text, digest_size=_BYTES).hexdigest()


def plain_value(value: Any) -> Any:
    """Return a value as every database gives it back: numbers as floats, times in UTC."""
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, (bool, int, float)):
        # SQLite drops the sign of a zero; adding zero drops it here as well.
        return float(value) + 0.0
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    return value.isoformat() if isinstance(value, date) else value


def _of_insert(context: Any) -> str:
    return seal_of(context.compiled.statement.table, context.get_current_parameters())


class Sealed:
    """A table whose rows carry a seal; NULL only while a unit of work is changing the row."""

    seal: Mapped[str | None] = mapped_column(default=_of_insert, onupdate=null(), sort_order=1)

    @override
    def __init_subclass__(cls, **options: Any) -> None:
        """Add the index that finds rows without a seal; it is empty after every unit of work."""
        super().__init_subclass__(**options)
        table: Table = cls.__table__  # type: ignore[attr-defined]
        bare = table.c.seal.is_(None)
        Index(f"ix_{table.name}_seal", table.c.seal, sqlite_where=bare, postgresql_where=bare)


def sealed_tables() -> tuple[Table, ...]:
    """Return the tables whose rows carry a seal."""
    return tuple(table for table in Base.metadata.sorted_tables if "seal" in table.c)


def seal_changed(connection: Connection) -> None:
    """Put a seal on every row that has none."""
    for (name,) in _tables_to_seal().rows(connection):
        _seal_table(connection, Base.metadata.tables[name])


@cache
def _tables_to_seal() -> Asked:
    """Return the question which tables have rows without a seal; every write asks it."""
    asked = [
        select(literal(table.name).label("name")).where(exists().where(table.c.seal.is_(None)))
        for table in sealed_tables()
    ]
    return Asked(union_all(*asked))


def _seal_table(connection: Connection, table: Table) -> None:
    bare = select(table).where(table.c.seal.is_(None)).limit(_ROUND)
    keys = list(table.primary_key)
    chosen = [key == bindparam(f"key of {key.name}") for key in keys]
    one = update(table).where(*chosen).values(seal=bindparam("made"))
    while rows := connection.execute(bare).mappings().all():
        made = [
            {"made": seal_of(table, row), **{f"key of {key.name}": row[key.name] for key in keys}}
            for row in rows
        ]
        connection.execute(one, made)


def broken_seals(connection: Connection, table: Table) -> tuple[str, ...] | None:
    """Return the keys of the rows that do not fit their seal; None where a table cannot be read."""
    keys = [key.name for key in table.primary_key]
    try:
        rows = connection.execute(select(table)).mappings()
        return tuple(
            " ".join(str(row[key]) for key in keys)
            for row in rows
            if row["seal"] != seal_of(table, row)
        )
    except _DAMAGED:
        return None
