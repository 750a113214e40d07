"""What PostgreSQL is told so that a shop behaves on it as it does on SQLite."""

from typing import Any, Final

from sqlalchemy import Connection

from kb.errors import StoreError

# Two programs that change the schema at once queue at this number; any number serves (our choice).
_UPGRADE_LOCK: Final = 8_023
_UNSORTED: Final = """
    SELECT quote_ident(columns.table_name), quote_ident(columns.column_name)
    FROM information_schema.columns JOIN information_schema.tables USING (table_schema, table_name)
    WHERE table_schema = current_schema() AND table_type = 'BASE TABLE'
      AND data_type = 'text' AND collation_name IS DISTINCT FROM 'C'
    ORDER BY columns.table_name, ordinal_position
"""


def is_postgres(connection: Connection) -> bool:
    """Say whether a connection leads to PostgreSQL."""
    return connection.dialect.name == "postgresql"


def options(*, writes: bool) -> dict[str, Any]:
    """Return the options of a transaction.

    One that reads sees one state from its first query to its last. One that writes queues at a
    row's lock, and must see what was committed while it waited.
    """
    level = "READ COMMITTED" if writes else "REPEATABLE READ"
    return {"isolation_level": level, "postgresql_readonly": not writes}


def be_patient(connection: Connection, milliseconds: int) -> None:
    """Wait no longer for a lock that another holds, until the transaction ends."""
    connection.exec_driver_sql(f"SET LOCAL lock_timeout = {milliseconds:d}")


def before_upgrade(connection: Connection) -> None:
    """Refuse a database that cannot hold every sign, and queue behind another upgrade.

    Raises
    ------
    StoreError
        If the database was made for another encoding than UTF-8.
    """
    encoding = connection.exec_driver_sql("SHOW server_encoding").scalar_one()
    if encoding != "UTF8":
        raise StoreError(
            f"expected a PostgreSQL database in UTF8, got {encoding}; make one with "
            "createdb --template=template0 --encoding=UTF8 NAME"
        )
    connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({_UPGRADE_LOCK:d})")


def after_upgrade(connection: Connection) -> None:
    """Let every text be ordered by the numbers of its signs, as SQLite does.

    Else the order of a list would depend on the language that the database was made for.
    """
    changes: dict[str, list[str]] = {}
    for table, column in connection.exec_driver_sql(_UNSORTED):
        changes.setdefault(table, []).append(f'ALTER COLUMN {column} TYPE text COLLATE "C"')
    for table, columns in changes.items():
        connection.exec_driver_sql(f"ALTER TABLE {table} {', '.join(columns)}")
