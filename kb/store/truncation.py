"""Whether a SQLite file is as long as it says, and how long the log beside it has become."""

from pathlib import Path
from typing import Final

from sqlalchemy import Connection

from kb.errors import StoreError
from kb.store.marker import how_to_restore

# The log is cut back to this many bytes once everything in it stands in the database, and above
# four times as many somebody who reads keeps it from that (our choices; a shop's day is 1 MB).
LOG_BYTES: Final = 16_000_000
LONG_LOG: Final = 4 * LOG_BYTES


def log_file(database: Path) -> Path:
    """Return the write-ahead log beside a database."""
    return database.with_name(f"{database.name}-wal")


def log_bytes(database: Path) -> int:
    """Return how long the log beside a database is, 0 without one."""
    try:
        return log_file(database).stat().st_size
    except OSError:
        return 0


def lost_bytes(connection: Connection, file: Path) -> int:
    """Return how many bytes are missing at the end of a database, 0 where none are.

    Pages that still stand in the log are not missing: a database may lawfully be shorter than it
    says while somebody writes it out of the log.
    """
    pages = int(connection.exec_driver_sql("PRAGMA page_count").scalar() or 0)
    size = int(connection.exec_driver_sql("PRAGMA page_size").scalar() or 0)
    missing = max(0, pages * size - file.stat().st_size)
    return 0 if log_bytes(file) else missing


def refuse_truncated(connection: Connection, file: Path) -> None:
    """Refuse a database that ends too early.

    Raises
    ------
    StoreError
        If it does; says what to do.
    """
    missing = lost_bytes(connection, file)
    if missing:
        raise StoreError(
            f"expected the whole of {file}, got a file that ends {missing} bytes too early; "
            f"{how_to_restore(file)}"
        )
