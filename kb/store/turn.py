"""The turn to write: one writer of a process at a time, and one process, each in its order.

SQLite lets one writer in and has the others ask again, at growing intervals: where one process
writes all the time, another may ask for seconds. Here they queue at two doors instead. Whoever is
through the first waits at the second, so that nobody who comes later can be before them.
"""

import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import IO, Final

from kb.errors import StoreError

try:
    import fcntl
except ImportError:  # elsewhere the database alone keeps the order, as it always does in the end
    fcntl = None  # type: ignore[assignment]

# Seconds between two looks at a closed door (our choice: short beside a write, long beside a look).
_LOOK_S: Final = 0.0005
_DOORS: Final = ("first", "second")


class Turn:
    """Where the writers of one database queue.

    Parameters
    ----------
    database : Path or None
        The database file, beside which lies the file of the doors; None where the database itself
        keeps the order of processes.
    """

    def __init__(self, database: Path | None) -> None:
        self._lock = threading.Lock()
        self._doors = None if database is None else database.with_name(f"{database.name}-turn")

    @contextmanager
    def taken(self, patience_ms: int | None = None, *, others_ms: int) -> Iterator[None]:
        """Hold the only place for writers.

        Parameters
        ----------
        patience_ms : int, optional
            Milliseconds to wait for the writers of this process; without it, as long as it takes.
        others_ms : int
            Milliseconds to wait for those of other processes.

        Raises
        ------
        StoreError
            If the turn does not come.
        """
        if not self._lock.acquire(timeout=-1 if patience_ms is None else patience_ms / 1000):
            raise StoreError("nothing was saved; expected a turn to write, got none; try again")
        try:
            with self._before_other_processes(others_ms):
                yield
        finally:
            self._lock.release()

    @contextmanager
    def _before_other_processes(self, patience_ms: int) -> Iterator[None]:
        if self._doors is None or fcntl is None:
            yield
            return
        until = time.monotonic() + patience_ms / 1000
        with ExitStack() as held:
            doors = self._open_doors(self._doors, held)
            for door in doors:
                _pass(door, until)
            for door in doors[:-1]:
                fcntl.flock(door, fcntl.LOCK_UN)
            yield

    @staticmethod
    def _open_doors(doors: Path, held: ExitStack) -> list[IO[bytes]]:
        """Return the doors; none where no file can be made, the database then keeps the order."""
        try:
            paths = [doors.with_name(f"{doors.name}-{name}") for name in _DOORS]
            return [held.enter_context(path.open("ab")) for path in paths]
        except OSError:
            return []


def _pass(door: IO[bytes], until: float) -> None:
    """Go through a door as soon as it is open; a process that ends leaves it open."""
    while True:
        try:
            fcntl.flock(door, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            if time.monotonic() > until:
                raise StoreError(
                    "nothing was saved; expected a turn to write, got a locked door: another "
                    "program holds the database; try again"
                ) from error
            time.sleep(_LOOK_S)
        else:
            return
