import socket
import threading

import pytest
from waitress import create_server
from waitress.channel import HTTPChannel

from tests.web.test_serving import answer, both_of, keeper, linux_only, until
from web import turns
from web.turns import Turns
from web.waiting_line import others_wait, stand_in_line

__all__ = ["keeper"]

PAGE = b"<p>" + 5_000 * b"x"


class Line:
    """A server whose page ``/wait`` is answered when ``go_on`` is set, and nothing before it."""

    def __init__(self):
        self.begun, self.go_on = threading.Event(), threading.Event()
        self.turns = Turns()
        self.server = create_server(
            self.answer, host="127.0.0.1", port=0, ident=None, _dispatcher=self.turns
        )
        stand_in_line(self.server)

    def answer(self, environ, start_response):
        if environ["PATH_INFO"] == "/wait":
            self.begun.set()
            assert self.go_on.wait(30)
        page = PAGE if environ["PATH_INFO"] == "/page" else b"ok"
        start_response("200 OK", [("Content-Length", str(len(page)))])
        return [page]

    def connection(self):
        place = ("127.0.0.1", self.server.effective_port)
        return socket.create_connection(place, timeout=30)

    def kept(self):
        """Return a connection that was answered, and on which somebody may ask again."""
        one = self.connection()
        ask(one)
        assert "Connection: close" not in head(one)
        return one

    def answers(self, one):
        """Let ``one`` be answered until ``go_on`` is set."""
        ask(one, "/wait")
        assert self.begun.wait(30)


@pytest.fixture
def line(monkeypatch):
    monkeypatch.setattr(turns, "PATIENCE_S", 60.0)
    one = Line()
    running = threading.Thread(target=one.turns.serve, args=(one.server,))
    running.start()
    yield one
    one.go_on.set()
    one.turns.shutdown()
    running.join(30)
    assert not running.is_alive()
    one.server.asyncore.close_all(one.server._map)


def ask(connection, path="/"):
    connection.sendall(f"GET {path} HTTP/1.1\r\nHost: here\r\n\r\n".encode())


def head(connection):
    """Return the head of an answer."""
    come = b""
    while not come.endswith(b"\r\n\r\nok"):
        more = connection.recv(65536)
        assert more, f"expected a whole answer, got {come!r}"
        come += more
    return come.partition(b"\r\n\r\n")[0].decode()


def test_a_connection_is_kept_while_nobody_else_waits(line):
    with line.connection() as one:
        for _ in range(3):
            ask(one)
            assert "Connection: close" not in head(one)


def test_a_connection_ends_with_its_answer_while_others_wait(line):
    with line.kept() as one, line.kept() as other, line.kept() as third:
        line.answers(one)
        ask(other)
        ask(third)
        line.go_on.set()
        head(one)
        ended = ["Connection: close" in head(each) for each in (other, third)]
        assert sorted(ended) == [False, True]
        assert (other, third)[ended.index(True)].recv(1) == b""


def test_a_connection_ends_while_somebody_waits_at_the_door(line):
    with line.kept() as one:
        line.answers(one)
        with line.connection() as later:
            ask(later)
            assert until(lambda: others_wait(line.server))
            line.go_on.set()
            assert "Connection: close" in head(one)
            assert "Connection: close" not in head(later)


def test_a_process_in_which_somebody_waits_takes_nobody_else(line):
    assert line.server.readable()
    with line.kept() as one:
        line.answers(one)
        line.turns.add_task(line)
        assert not line.server.readable()
        line.turns.queue.clear()
        assert line.server.readable()


def test_the_head_of_an_answer_goes_out_with_its_page(line, monkeypatch):
    sent, send = [], HTTPChannel.send

    def noted(channel, data, **how):
        sent.append(bytes(data))
        return send(channel, data, **how)

    monkeypatch.setattr(HTTPChannel, "send", noted)
    with line.connection() as one:
        ask(one, "/page")
        come = b""
        while not come.endswith(PAGE):
            come += one.recv(65536)
        ask(one)
        head(one)
    assert [piece.count(b"HTTP/1.1 200 OK") for piece in sent] == [1, 1]
    assert sent[0] == come


@linux_only
def test_connections_made_at_once_are_all_answered(keeper):
    port, _ = keeper()
    both_of(port, set())
    found = []
    asking = [threading.Thread(target=lambda: found.append(answer(port))) for _ in range(40)]
    for one in asking:
        one.start()
    for one in asking:
        one.join(30)
    assert until(lambda: len(found) == 40)
    assert None not in found
