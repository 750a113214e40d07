"""One thread answers in a process; where a question takes long, further ones come to its relief.

Two questions that are answered at once only take the interpreter's lock from each other: on two
processors two processes of one thread each hold a fourth more pages than of two (``bench_load``).
"""

import threading
import time
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from _typeshed.wsgi import StartResponse, WSGIApplication, WSGIEnvironment

# Seconds after which a question is not waited for any longer, and between two looks; threads of one
# process at most (our choices).
PATIENCE_S: Final = 0.25
LOOK_EVERY_S: Final = 0.05
MOST_THREADS: Final = 4


class Relief:
    """Answers, and says how many threads should.

    Parameters
    ----------
    answer : callable
        A WSGI application.
    """

    def __init__(self, answer: "WSGIApplication") -> None:
        self._answer = answer
        self._began: dict[int, float] = {}

    def __call__(
        self, environ: "WSGIEnvironment", start_response: "StartResponse"
    ) -> "Iterable[bytes]":
        """Answer a question."""
        thread = threading.get_ident()
        self._began[thread] = time.monotonic()
        try:
            return self._answer(environ, start_response)
        finally:
            del self._began[thread]

    def threads(self) -> int:
        """Return how many threads should answer now: one, and one for each that takes long."""
        now = time.monotonic()
        slow = sum(now - began > PATIENCE_S for began in list(self._began.values()))
        return min(1 + slow, MOST_THREADS)

    def look_on(self, use: Callable[[int], None]) -> None:
        """Tell ``use`` how many threads should answer, whenever that changes, in a thread beside."""

        def look() -> None:
            used = 1
            while True:
                time.sleep(LOOK_EVERY_S)
                wanted = self.threads()
                if wanted != used:
                    use(wanted)
                    used = wanted

        threading.Thread(target=look, name="relief", daemon=True).start()
