"""What was read of the closed jobs, kept until one of them changes."""

from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

from cachetools import LRUCache

from kb.store.journal import Pen, state

T = TypeVar("T")


class KeptByState(Generic[T]):
    """Values made of closed jobs alone, by the name of their state; safe to share between threads.

    Parameters
    ----------
    most : float
        How large all of them may be together; those that were asked for longest ago go first.
    size : callable, optional
        Gives the size of one, 1 unless told otherwise.
    """

    def __init__(self, most: float, size: Callable[[T], float] | None = None) -> None:
        self._lock = Lock()
        self._most = most
        self._size = size
        self._values: LRUCache[Hashable, T] = LRUCache(most, size)

    def get(self, pen: Pen, key: Hashable, make: Callable[[], T]) -> T:
        """Return the value of ``key``, made where no unit of work of this state has asked for it.

        A unit that writes changes jobs before their state gets its new name: it makes its own.
        """
        name = state(pen.connection) if pen.reads_only else ""
        if not name:
            return make()
        with self._lock:
            if (name, key) in self._values:
                return self._values[name, key]
        made = make()
        if self._size is None or self._size(made) <= self._most:
            with self._lock:
                self._values[name, key] = made
        return made
