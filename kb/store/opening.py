"""Whether a database is the shop's, whole and of this program's schema, before it is opened."""

from pathlib import Path

from sqlalchemy import Engine, inspect, text
from sqlalchemy.exc import DatabaseError

from kb.errors import StoreError
from kb.store.faults import is_missing, store_error
from kb.store.marker import present, refuse_gone, refuse_other
from kb.store.tables import SCHEMA_REVISION
from kb.store.truncation import refuse_truncated


def check_opened(engine: Engine, file: Path | None, place: Path | None) -> None:
    """Refuse a database that is not the shop's, or not of the schema of this program.

    Parameters
    ----------
    engine : Engine
        Leads to it.
    file : Path or None
        Its file, None for a database on a server.
    place : Path or None
        What its marker lies beside, None where nobody knows.

    Raises
    ------
    StoreError
        If it is missing, empty, cut short, of another schema, or another than its marker tells of.
    """
    try:
        _check_schema(engine, file, place)
        if place is not None:
            with engine.connect() as connection:
                refuse_other(place, present(connection))
    except DatabaseError as error:
        if place is not None and is_missing(error):
            refuse_gone(place, "no database")
        raise store_error(error) from error


def _check_schema(engine: Engine, file: Path | None, place: Path | None) -> None:
    with engine.connect() as connection:
        if file is not None:
            refuse_truncated(connection, file)
        known = inspect(connection).has_table("alembic_version")
        found = (
            connection.scalar(text("SELECT version_num FROM alembic_version")) if known else None
        )
    if found is None:
        if file is None and place is not None:
            refuse_gone(place, "one without tables")
        raise StoreError("expected the shop's tables, got none; run baybook init")
    if found < SCHEMA_REVISION:
        raise StoreError(
            f"expected schema {SCHEMA_REVISION}, got the older {found}; run baybook init"
        )
    if found > SCHEMA_REVISION:
        raise StoreError(
            f"expected schema {SCHEMA_REVISION}, got the newer {found}; install the newer Baybook"
        )
