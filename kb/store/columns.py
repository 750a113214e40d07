"""What the columns of all tables are made of: names of constraints, types of values, keys."""

import json
from datetime import UTC, datetime
from typing import Any, Final

from sqlalchemy import DateTime, Double, ForeignKey, ForeignKeyConstraint, MetaData, Table, Text
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column
from sqlalchemy.sql.elements import KeyedColumnElement
from sqlalchemy.types import TypeDecorator
from typing_extensions import override

NAMES: Final = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}


# What an integer column holds everywhere; a database may refuse to compare a larger one.
LARGEST_ID: Final = 2**31 - 1


class Words(TypeDecorator[tuple[str, ...]]):
    """A tuple of short words as a JSON list; read and written whole, never searched by SQL."""

    impl = Text
    cache_ok = True

    @override
    def process_bind_param(self, value: tuple[str, ...] | None, dialect: Dialect) -> str | None:
        """Return the JSON text."""
        return None if value is None else json.dumps(value, ensure_ascii=False)

    @override
    def process_result_value(self, value: Any | None, dialect: Dialect) -> tuple[str, ...] | None:
        """Return the tuple."""
        if value is None:
            return None
        return () if value == "[]" else tuple(json.loads(value))


class UtcTime(TypeDecorator[datetime]):
    """A moment in UTC; SQLite keeps no zone, so it is taken off and put back here."""

    impl = DateTime
    cache_ok = True

    @override
    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Return the moment in UTC without its zone."""
        return None if value is None else value.astimezone(UTC).replace(tzinfo=None)

    @override
    def process_result_value(self, value: Any | None, dialect: Dialect) -> datetime | None:
        """Return the moment with its zone."""
        return None if value is None else value.replace(tzinfo=UTC)


class Base(DeclarativeBase):
    """Base of every table."""

    metadata = MetaData(naming_convention=NAMES)
    type_annotation_map = {  # noqa: RUF012 - SQLAlchemy reads this name from the class
        str: Text,
        float: Double,
        datetime: UtcTime,
        tuple[str, ...]: Words,
    }


def table_of(row_type: type[Base]) -> Table:
    """Return the table of a row type."""
    table = row_type.__table__
    if not isinstance(table, Table):
        raise TypeError(f"expected {row_type.__name__} on a table, got {type(table).__name__}")
    return table


def own_columns(row_type: type[Base]) -> tuple[KeyedColumnElement[Any], ...]:
    """Return the columns that hold what a row says: all but its seal."""
    return tuple(column for column in row_type.__table__.c if column.name != "seal")


def job_key() -> Mapped[str]:
    """Return the first half of a child's key; the child goes when its job goes."""
    return mapped_column(ForeignKey("jobs.id", ondelete="CASCADE"), primary_key=True)


def parent_key(table: str) -> tuple[ForeignKeyConstraint]:
    """Return the constraint that ties a grandchild to its parent row."""
    return (
        ForeignKeyConstraint(
            ["job_id", "parent"], [f"{table}.job_id", f"{table}.ordinal"], ondelete="CASCADE"
        ),
    )
