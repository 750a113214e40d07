import socket
import threading
import time

import pytest
from waitress import create_server

from tests.web.test_serving import until
from web import turns
from web.turns import MOST_THREADS, Turns


class Served:
    """A server whose page ``/wait`` takes until ``go_on`` is set, and ``/long`` is 40 MB long."""

    def __init__(self):
        self.go_on, self.begun, self.threads = threading.Event(), [], set()
        self.ended: list[int] = []
        self.turns = Turns(lambda: self.ended.append(threading.get_ident()))
        self.server = create_server(
            self.answer, host="127.0.0.1", port=0, ident=None, _dispatcher=self.turns
        )
        self.running = threading.Thread(target=self.turns.serve, args=(self.server,))
        self.running.start()

    def answer(self, environ, start_response):
        self.threads.add(threading.get_ident())
        path = environ["PATH_INFO"]
        self.begun.append(path)
        if path == "/wait":
            assert self.go_on.wait(60)
        start_response("200 OK", [])
        return (bytes(1_000_000) for _ in range(40)) if path == "/long" else [b"ok"]

    def asked(self, path="/"):
        one = socket.create_connection(("127.0.0.1", self.server.effective_port), timeout=60)
        one.sendall(f"GET {path} HTTP/1.0\r\n\r\n".encode())
        return one

    def end(self):
        self.go_on.set()
        self.turns.shutdown()
        self.running.join(30)
        assert not self.running.is_alive()
        self.server.asyncore.close_all(self.server._map)


@pytest.fixture
def served():
    made = Served()
    yield made
    made.end()


def whole(one):
    """Return all that comes on a connection until it ends."""
    with one:
        return b"".join(iter(lambda: one.recv(1 << 20), b""))


def test_one_thread_reads_and_answers_all(served):
    for _ in range(20):
        assert whole(served.asked()).endswith(b"\r\n\r\nok")
    assert len(served.threads) == 1
    assert until(lambda: len(served.ended) == 20)
    assert set(served.ended) == served.threads


def test_where_an_answer_takes_long_another_thread_goes_on(served):
    slow = served.asked("/wait")
    assert until(lambda: "/wait" in served.begun)
    for _ in range(3):
        assert whole(served.asked()).endswith(b"ok")
    assert len(served.threads) == 2
    served.go_on.set()
    assert whole(slow).endswith(b"ok")
    assert whole(served.asked()).endswith(b"ok")
    # The one that was slow waits for a turn; nobody else began.
    assert len(served.threads) == 2


def test_there_are_never_more_threads_than_the_most(served, monkeypatch):
    monkeypatch.setattr(turns, "PATIENCE_S", 0.0)
    slow = [served.asked("/wait") for _ in range(MOST_THREADS + 2)]
    assert until(lambda: len(served.begun) == MOST_THREADS)
    time.sleep(5 * turns.LOOK_EVERY_S)
    assert len(served.begun) == MOST_THREADS
    served.go_on.set()
    assert all(whole(one).endswith(b"ok") for one in slow)
    assert len(served.threads) == MOST_THREADS


def test_every_question_is_answered_once_while_turns_change_all_the_time(served, monkeypatch):
    monkeypatch.setattr(turns, "PATIENCE_S", 0.0)
    monkeypatch.setattr(turns, "LOOK_EVERY_S", 0.0005)
    for _ in range(20):
        at_once = [served.asked() for _ in range(10)]
        assert all(whole(one).endswith(b"ok") for one in at_once)
    assert len(served.begun) == 200


def test_who_waits_for_a_slow_browser_lets_another_thread_send(served):
    """The server keeps 16 MB of an answer at most; only who reads sends them on."""
    long = served.asked("/long")
    assert until(lambda: "/long" in served.begun)
    assert whole(served.asked()).endswith(b"ok")
    assert len(whole(long)) > 40_000_000


class Left:
    """Something that waits for its answer, which fails."""

    cancelled = False

    def service(self):
        raise RuntimeError("no answer")

    def cancel(self):
        self.cancelled = True


def test_an_answer_that_fails_leaves_the_others(served, caplog):
    served.turns.add_task(Left())
    for _ in range(2):
        assert whole(served.asked()).endswith(b"ok")
    assert "could not answer" in caplog.text


def test_what_is_being_answered_ends_with_the_process_and_the_rest_is_left(served, monkeypatch):
    monkeypatch.setattr(turns, "PATIENCE_S", 60.0)
    slow, left = served.asked("/wait"), Left()
    assert until(lambda: "/wait" in served.begun)
    threading.Timer(0.1, served.go_on.set).start()
    served.turns.add_task(left)
    served.turns.shutdown()
    assert served.go_on.is_set()
    assert left.cancelled
    with slow:
        assert slow.recv(1 << 16).startswith(b"HTTP/1.0 200 OK")


def test_a_fault_of_who_reads_is_told(monkeypatch):
    made = Turns()
    server = create_server(lambda: None, host="127.0.0.1", port=0, _dispatcher=made)

    def broken(*how):
        raise OSError("no more files")

    monkeypatch.setattr(server.asyncore, "poll", broken)
    with pytest.raises(OSError, match="no more files"):
        made.serve(server)
    server.asyncore.close_all(server._map)
