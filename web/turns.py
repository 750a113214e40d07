"""One thread of a process reads what comes and answers it; where that takes long, another reads on.

A thread that reads and one that answers hand the interpreter's lock to each other some ten times a
page, which took .2 ms of the 4 that a page costs (``bench_load``). Two answers at once take it from
each other too: on two processors two processes of one such thread each hold the most pages.
"""

import logging
import threading
import time
from collections import deque
from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final, Protocol

if TYPE_CHECKING:
    from waitress.server import TcpWSGIServer

# Seconds after which an answer is not waited for any longer, and between two looks; threads of one
# process at most; seconds that begun answers have when it ends (our choices).
PATIENCE_S: Final = 0.25
LOOK_EVERY_S: Final = 0.05
MOST_THREADS: Final = 4
END_S: Final = 5.0
logger = logging.getLogger(__name__)


class Task(Protocol):
    """What has come whole and is to be answered."""

    def service(self) -> None:
        """Answer it."""

    def cancel(self) -> None:
        """Leave it without an answer."""


class Turns:
    """Reads and answers in one thread after the other; waitress knows it as its dispatcher.

    ``queue`` holds what was read and waits for its answer.

    Parameters
    ----------
    between : callable
        Called whenever an answer has ended.
    """

    def __init__(self, between: Callable[[], None] = lambda: None) -> None:
        self.queue: deque[Task] = deque()
        self._between = between
        self._server: Any = None
        # Held for the one who reads, whoever lets go of it.
        self._turn = threading.Lock()
        # Of what stands below: who reads, since when that one answers, and how many there are.
        self._guard = threading.Lock()
        self._reader: int | None = None
        self._began: float | None = None
        self._threads = self._spare = self._answering = 0
        self._ending = threading.Event()
        self._fault: BaseException | None = None

    # --- what waitress asks for --------------------------------------------------------------

    def add_task(self, task: Task) -> None:
        """Let something be answered in its turn."""
        self.queue.append(task)

    def shutdown(self) -> None:
        """End: what is being answered has a few seconds more, the rest is left without an answer."""
        self._ending.set()
        end = time.monotonic() + END_S
        while self._answering and time.monotonic() < end:
            time.sleep(LOOK_EVERY_S)
        while self.queue:
            self.queue.popleft().cancel()

    # --- turns -------------------------------------------------------------------------------

    def serve(self, server: "TcpWSGIServer") -> None:
        """Serve until interrupted, or until ``shutdown``.

        Raises
        ------
        BaseException
            What a thread that read could not go on for.
        """
        self._server = server
        wake = server.pull_trigger
        # Who reads need not be woken to look at what it did itself.
        server.pull_trigger = lambda: self._is_reader() or wake()
        with self._guard:
            self._begin()
        try:
            while not self._ending.wait(LOOK_EVERY_S):
                self._take_over()
        except (SystemExit, KeyboardInterrupt):
            self.shutdown()
        if self._fault is not None:
            raise self._fault

    def _is_reader(self) -> bool:
        return self._reader == threading.get_ident()

    def _begin(self) -> None:
        self._threads += 1
        threading.Thread(target=self._go_on, name="turns", daemon=True).start()

    def _take_over(self) -> None:
        """Let another thread read where the one whose turn it is has been answering for long."""
        with self._guard:
            is_slow = self._began is not None and time.monotonic() - self._began > PATIENCE_S
            if not is_slow or not (self._spare or self._threads < MOST_THREADS):
                return
            if not self._spare:
                self._begin()
            self._reader = self._began = None
            self._turn.release()

    def _go_on(self) -> None:
        try:
            while not self._ending.is_set():
                with self._guard:
                    self._spare += 1
                self._turn.acquire()
                with self._guard:
                    self._spare -= 1
                    self._reader = threading.get_ident()
                self._read_and_answer()
        except BaseException as error:  # noqa: BLE001 - whoever serves raises it
            self._fault = error
            self._ending.set()

    def _read_and_answer(self) -> None:
        """Read what comes and answer it, one after the other, until another thread took over."""
        server, queue = self._server, self.queue
        poll, patience_s = server.asyncore.poll, server.adj.asyncore_loop_timeout
        sockets = server._map  # noqa: SLF001 - as the library's own loop, which is another module's
        while self._is_reader() and not self._ending.is_set():
            poll(0.0 if queue else patience_s, sockets)
            if queue:
                self._answer(queue.popleft())

    def _answer(self, task: Task) -> None:
        with self._guard:
            self._began = time.monotonic()
            self._answering += 1
        try:
            task.service()
        except BaseException:
            logger.exception("could not answer %r", task)
        with self._guard:
            self._answering -= 1
            # Else it is another's.
            if self._is_reader():
                self._began = None
        self._between()
