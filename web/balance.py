"""As many connections for each process: one that has more than another leaves a new one to it.

A browser keeps its connection. Left to chance, of sixteen one process had twelve and another four,
and who asked the busier one waited three times as long (``bench_load``).
"""

import mmap
import struct
import time
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from waitress.server import TcpWSGIServer

# Seconds between two looks whether another process took a new connection, and looks after which
# nobody is waited for, who may be busy with one long step (our choices).
LOOK_AGAIN_S: Final = 0.001
MOST_LOOKS: Final = 250
_NUMBER: Final = struct.Struct("=q")
# What stands for a process that does not serve: more than any has.
_AWAY: Final = 2**62


class Connections:
    """How many connections each process has, in memory that all of them share."""

    def __init__(self, processes: int) -> None:
        self._shared = mmap.mmap(-1, processes * _NUMBER.size)
        self._places = range(0, processes * _NUMBER.size, _NUMBER.size)
        for process in range(processes):
            self.away(process)

    def away(self, process: int) -> None:
        """Write down that a process does not serve."""
        self.write(process, _AWAY)

    def write(self, process: int, count: int) -> None:
        """Write down how many connections a process has."""
        _NUMBER.pack_into(self._shared, self._places[process], count)

    def least(self) -> int:
        """Return how many connections the process with fewest has."""
        return min(int(_NUMBER.unpack_from(self._shared, place)[0]) for place in self._places)


@dataclass(slots=True)
class Balance:
    """The connections of one process beside those of the others."""

    connections: Connections
    process: int
    looks: int = 0

    def takes(self, count: int) -> bool:
        """Return whether a process with so many connections takes a new one now."""
        self.connections.write(self.process, count)
        if count <= self.connections.least() or self.looks >= MOST_LOOKS:
            self.looks = 0
            return True
        self.looks += 1
        return False

    def keep(self, server: "TcpWSGIServer") -> None:
        """Let a server take a new connection only when it is its turn."""
        accept, readable = server.handle_accept, server.readable

        def accept_in_turn() -> None:
            if self.takes(len(server.active_channels)):
                accept()
                self.connections.write(self.process, len(server.active_channels))
            else:
                time.sleep(LOOK_AGAIN_S)

        def readable_and_counted() -> bool:
            # Asked before each wait: connections end without a word to the server.
            self.connections.write(self.process, len(server.active_channels))
            return bool(readable())

        server.handle_accept = accept_in_turn
        server.readable = readable_and_counted
