"""Whether anybody has written since: what was read before need not be read again.

SQLite tells each connection of every write through another one (``PRAGMA data_version``), in a few
microseconds and without a transaction.
"""

import sqlite3
from itertools import count
from threading import Lock

from sqlalchemy import Engine, PoolProxiedConnection
from sqlalchemy.exc import DatabaseError

# The connection that was asked, and what it said: another one counts otherwise.
Version = tuple[int, int]


class DataVersion:
    """What changes with every write of any process; safe to share between threads.

    Parameters
    ----------
    engine : Engine
        Of the shop's database.
    """

    def __init__(self, engine: Engine) -> None:
        self._engine = engine
        self._lock = Lock()
        self._numbers = count()
        self._number = 0
        # Its own writes tell a connection nothing: this one never writes.
        self._asked: PoolProxiedConnection | None = None

    def now(self) -> Version | None:
        """Return what stands for the present; None where the database has none, or cannot be asked.

        What is read after it was taken is good for as long as it stays.
        """
        if self._engine.dialect.name != "sqlite":
            return None
        with self._lock:
            try:
                if self._asked is None:
                    self._asked = self._engine.raw_connection()
                    self._number = next(self._numbers)
                found = self._asked.cursor().execute("PRAGMA data_version").fetchone()
            except (sqlite3.Error, DatabaseError):
                self._let_go()
                return None
            return self._number, int(found[0])

    def close(self) -> None:
        """Give the connection back."""
        with self._lock:
            self._let_go()

    def _let_go(self) -> None:
        asked, self._asked = self._asked, None
        if asked is not None:
            asked.close()
