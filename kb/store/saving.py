"""The rows of jobs, written: all of a new job, of a changed one only those that differ."""

from collections.abc import Mapping, Sequence
from functools import cache
from typing import Any, Final

from sqlalchemy import Connection, Delete, Insert, Update, bindparam, delete, insert, update

from kb.case.model import Job
from kb.store.columns import Base, table_of
from kb.store.rows import FAMILIES, TABLES, Rows, rows_below
from kb.store.seals import seal_of
from kb.store.tables import JobRow

_JOBS: Final = table_of(JobRow)


def insert_rows(connection: Connection, rows: Rows) -> None:
    """Write rows of jobs, parents first."""
    for table in TABLES:
        if rows.get(table):
            connection.execute(_insert(table), rows[table])


def save_rows(connection: Connection, before: Job, rows: Rows) -> None:
    """Write what of a job's ``rows`` is not as it stood ``before``; the others keep their rows."""
    old = rows_below(before)
    new: Rows = {}
    for head, first in first_changes(old, rows).items():
        if first < len(old.get(head, ())):
            connection.execute(_delete_from(head), {"of": before.id, "first": first})
        new |= {table: _from(first, rows.get(table, ())) for table in FAMILIES[head]}
        new[head] = rows.get(head, [])[first:]
    (row,) = rows[JobRow]
    # Sealed at once: the whole row is known here. The id stays: SQLite would look through every
    # table below for whom it might be gone.
    values = {**row, "seal": seal_of(_JOBS, row), "of": row["id"]}
    del values["id"]
    connection.execute(_update_job(), values)
    insert_rows(connection, new)


def first_changes(before: Rows, after: Rows) -> dict[type[Base], int]:
    """Return the tables right below a job whose rows differ, or those of a table below them.

    Each comes with the place of its first row that is another, is gone, is new, or has others
    below it: most writes add to the end.
    """
    found = {}
    for head, below in FAMILIES.items():
        old, new = before.get(head, ()), after.get(head, ())
        places = [_first_difference(old, new)]
        for table in below:
            rows = before.get(table, ()), after.get(table, ())
            at = _first_difference(*rows)
            places += [row[at].get("parent", 0) for row in rows if at < len(row)]
        first = min(places)
        if first < max(len(old), len(new)):
            found[head] = first
    return found


def _first_difference(old: Sequence[Any], new: Sequence[Any]) -> int:
    pairs = enumerate(zip(old, new, strict=False))
    return next((at for at, (one, other) in pairs if one != other), min(len(old), len(new)))


def _from(first: int, rows: Sequence[Mapping[str, Any]]) -> list[Any]:
    return [row for row in rows if row.get("parent", 0) >= first]


# Statements are made once: making one costs more than running it.
@cache
def _insert(row_type: type[Base]) -> Insert:
    return insert(table_of(row_type))


@cache
def _update_job() -> Update:
    return update(_JOBS).where(_JOBS.c.id == bindparam("of"))


@cache
def _delete_from(row_type: type[Base]) -> Delete:
    table = table_of(row_type)
    gone = delete(table).where(table.c.job_id == bindparam("of"))
    # A closing is one row, which has no place in a list.
    return gone.where(table.c.ordinal >= bindparam("first")) if "ordinal" in table.c else gone
