"""What a connection asks its database, by whatever way."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Connection, event


@contextmanager
def asked_of(connection: Connection) -> Iterator[list[str]]:
    """Give a list that takes the text of every question asked meanwhile."""
    asked: list[str] = []
    driver = connection.connection.driver_connection
    if isinstance(driver, sqlite3.Connection):
        # Some questions go past SQLAlchemy: the database itself tells of all.
        driver.set_trace_callback(asked.append)
        yield asked
        driver.set_trace_callback(None)
    else:
        event.listen(connection, "before_cursor_execute", lambda *row: asked.append(row[2]))
        yield asked
