"""The connection of this process to a Dask scheduler; made again where it was lost."""

from collections.abc import Callable
from threading import Lock
from time import monotonic
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from distributed import Client

# Seconds after which a lost connection is made again; a question waits for it (our choice).
AGAIN_AFTER_S: Final = 30.0


class Connection:
    """Gives the client of this process while it stands.

    Parameters
    ----------
    connect : callable
        Makes a client; called at once, and again where the scheduler went away for longer than the
        client itself waits for it.

    Raises
    ------
    OSError
        If no scheduler answers the first time.
    """

    def __init__(self, connect: Callable[[], "Client"]) -> None:
        self._connect = connect
        self._lock = Lock()
        self._not_before = 0.0
        self._client = connect()

    def __call__(self) -> "Client | None":
        """Return the client, None while the scheduler is away."""
        if self._client.status == "closed" and self._lock.acquire(blocking=False):
            try:
                self._again()
            finally:
                self._lock.release()
        client = self._client
        return client if client.status == "running" else None

    def _again(self) -> None:
        if self._client.status != "closed" or monotonic() < self._not_before:
            return
        try:
            self._client = self._connect()
        except OSError:
            self._not_before = monotonic() + AGAIN_AFTER_S
