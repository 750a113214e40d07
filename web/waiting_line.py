"""One line for all processes: who waits is answered by whichever process is free first.

A browser keeps its connection, and so its process, also where another process has less to do. Here
a process takes a new connection only while nobody waits in it, and ends a connection after its
answer while others wait: who asks next stands in the line of the address, which all share. Of
sixteen connections that ask without a pause the slowest twentieth waits a tenth less for it.
"""

import select
from typing import TYPE_CHECKING

from typing_extensions import override
from waitress.channel import HTTPChannel
from waitress.task import WSGITask

if TYPE_CHECKING:
    from waitress.server import TcpWSGIServer


class _Task(WSGITask):  # type: ignore[misc]
    @override
    def build_response_header(self) -> bytes:
        if others_wait(self.channel.server):
            self.set_close_on_finish()
        return bytes(super().build_response_header())


class _Channel(HTTPChannel):  # type: ignore[misc]
    task_class = _Task


def others_wait(server: "TcpWSGIServer") -> bool:
    """Return whether somebody waits for this process, or for whichever is free first."""
    return bool(server.task_dispatcher.queue or select.select((server.socket,), (), (), 0)[0])


def stand_in_line(server: "TcpWSGIServer") -> None:
    """Let a server leave to other processes what it cannot answer at once."""
    readable, waiting = server.readable, server.task_dispatcher.queue

    def readable_in_turn() -> bool:
        return bool(readable()) and not waiting

    server.readable = readable_in_turn
    server.channel_class = _Channel
