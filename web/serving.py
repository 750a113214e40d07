"""Serving the pages: a few processes behind one door, one that dies is started again."""

import logging
import os
import signal
import socket
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from threading import Thread
from typing import TYPE_CHECKING, Any, Final, NoReturn

from web.collector import BetweenAnswers
from web.huge_pages import keep_gathered
from web.spare_memory import keep_giving_back, use_one_heap
from web.turns import Turns

if TYPE_CHECKING:
    from flask import Flask

# More processes than this wait for each other's writes instead of for the processor (our choice).
MOST_PROCESSES: Final = 4
DEFAULT_PROCESSES: Final = 2
# A process that lived shorter than this many seconds could not begin; after so many in a row
# something is wrong that starting again does not mend (our choice).
SHORT_LIFE_S: Final = 5.0
MOST_SHORT_LIVES: Final = 3
# Elsewhere a process cannot be split safely once libraries have started threads.
LINUX: Final = sys.platform == "linux"
logger = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True, kw_only=True)
class Door:
    """Where the pages are served; ``limits`` are settings of the server, as waitress names them."""

    host: str
    port: int
    limits: Mapping[str, Any]

    def open(self) -> socket.socket:
        """Return a socket that listens there.

        Raises
        ------
        OSError
            If the address is taken, or is none of this machine.
        """
        found = socket.getaddrinfo(
            self.host, self.port, type=socket.SOCK_STREAM, flags=socket.AI_PASSIVE
        )
        family, kind, protocol, _, address = found[0]
        opened = socket.socket(family, kind, protocol)
        try:
            opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            opened.bind(address)
            opened.listen()
        except BaseException:
            opened.close()
            raise
        return opened


def usual_processes() -> int:
    """Return how many processes serve unless told otherwise: no more than there are processors."""
    return min(DEFAULT_PROCESSES, os.cpu_count() or 1) if LINUX else 1


def serve(make_app: "Callable[[], Flask]", door: Door, *, processes: int = 1) -> None:
    """Serve until interrupted; each process makes its own application.

    Raises
    ------
    OSError
        If the address is taken, or is none of this machine.
    RuntimeError
        If processes die as soon as they begin.
    """
    with door.open() as opened:
        if processes == 1:
            _serve_here(make_app(), opened, door)
        else:
            _Keeper(make_app, opened, door, processes=processes).keep()


def _serve_here(
    app: "Flask", opened: socket.socket, door: Door, *, beside_others: bool = False
) -> None:
    from waitress import create_server  # noqa: PLC0415 (start-up time)

    from web.waiting_line import stand_in_line  # noqa: PLC0415 (start-up time)

    use_one_heap()
    turns = Turns(BetweenAnswers())
    server = create_server(app, sockets=[opened], ident=None, _dispatcher=turns, **door.limits)
    keep_gathered()
    keep_giving_back()
    if beside_others:
        stand_in_line(server)
    turns.serve(server)


class _Keeper:
    """Starts processes, starts them again when they die, and ends them with itself."""

    def __init__(
        self, make_app: "Callable[[], Flask]", opened: socket.socket, door: Door, *, processes: int
    ) -> None:
        self._make_app, self._opened, self._door = make_app, opened, door
        # Nobody writes into it: its end tells the processes that their keeper is gone.
        self._tied, self._held = os.pipe()
        self._begun: dict[int, float] = {}
        self._short_lives = 0
        self._processes = processes

    def keep(self) -> None:
        """Keep the processes until interrupted."""
        before = signal.signal(signal.SIGTERM, _stop)
        try:
            for _ in range(self._processes):
                self._begin()
            while True:
                self._follow(*os.wait())
        except KeyboardInterrupt:
            pass
        finally:
            signal.signal(signal.SIGTERM, before)
            self._end_all()

    def _begin(self) -> None:
        # What is still unwritten would be written by both.
        sys.stdout.flush()
        sys.stderr.flush()
        process = os.fork()
        if process == 0:
            self._work()
        self._begun[process] = time.monotonic()

    def _work(self) -> NoReturn:
        """Serve in this new process; never returns to what the keeper was doing."""
        code = 1
        try:
            os.close(self._held)
            signal.signal(signal.SIGTERM, _stop)
            Thread(target=_end_with_keeper, args=(self._tied,), daemon=True).start()
            _serve_here(self._make_app(), self._opened, self._door, beside_others=True)
            code = 0
        except KeyboardInterrupt:
            code = 0
        except BaseException:
            logger.exception("a process of the pages could not go on")
        finally:
            os._exit(code)

    def _follow(self, process: int, status: int) -> None:
        lived = time.monotonic() - self._begun.pop(process, 0.0)
        self._short_lives = self._short_lives + 1 if lived < SHORT_LIFE_S else 0
        if self._short_lives >= MOST_SHORT_LIVES:
            raise RuntimeError(
                f"expected processes that go on serving, got {self._short_lives} that ended at "
                "once; look at what they said above, or run baybook doctor"
            )
        logger.error("a process of the pages ended (%s) and is started again", status)
        self._begin()

    def _end_all(self) -> None:
        for process in self._begun:
            os.kill(process, signal.SIGTERM)
        while self._begun:
            self._begun.pop(os.wait()[0], None)
        os.close(self._tied)
        os.close(self._held)


def _stop(number: int, frame: object) -> NoReturn:
    raise KeyboardInterrupt


def _end_with_keeper(tied: int) -> None:
    """Wait until the keeper is gone, then end this process too: it would hold the address."""
    os.read(tied, 1)
    os.kill(os.getpid(), signal.SIGTERM)
