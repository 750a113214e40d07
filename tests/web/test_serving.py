import os
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request

import pytest

from web import serving
from web.serving import Door, usual_processes

# A shop's pages stand in for by the number of the process that answers.
PAGES = """
import sys
import threading
from flask import Flask
from web.serving import Door, serve

def make_app():
    import os
    app = Flask("pages")
    app.add_url_rule("/", "who", lambda: str(os.getpid()))
    go_on = threading.Event()
    app.add_url_rule("/wait", "wait", lambda: str(go_on.wait(60)))
    app.add_url_rule("/go-on", "go on", lambda: str(go_on.set()))
    return app

if sys.argv[2] == "broken":
    def make_app():
        raise ValueError("no such shop")

serve(make_app, Door(host="127.0.0.1", port=int(sys.argv[1]), limits={}), processes=int(sys.argv[3]))
"""
linux_only = pytest.mark.skipif(not serving.LINUX, reason="processes are split on Linux alone")


def free_port():
    with socket.create_server(("127.0.0.1", 0)) as taken:
        return taken.getsockname()[1]


def answer(port):
    """Return which process answers, None while none does."""
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=10) as page:
            return int(page.read())
    except (urllib.error.URLError, ConnectionError):
        return None


def until(told, seconds=30):
    """Wait until ``told`` says something."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if found := told():
            return found
        time.sleep(0.05)
    raise AssertionError(f"expected it within {seconds} s")


@pytest.fixture
def keeper():
    """Return a function that serves in processes of their own."""
    begun = []

    def begin(kind="sound", processes=2):
        port = free_port()
        words = [sys.executable, "-c", PAGES, str(port), kind, str(processes)]
        process = subprocess.Popen(words, stderr=subprocess.PIPE, text=True)
        begun.append(process)
        return port, process

    yield begin
    for process in begun:
        process.kill()
        process.communicate()


def both_of(port, dead):
    """Return the two processes that answer, waiting until each of them did."""
    seen: set[int] = set()

    def look():
        who = answer(port)
        if who is not None and who not in dead:
            seen.add(who)
        return len(seen) == 2

    until(look)
    return seen


def gone(process_id):
    try:
        os.kill(process_id, 0)
    except ProcessLookupError:
        return True
    return False


@linux_only
def test_a_process_that_is_killed_is_started_again_and_all_end_together(keeper):
    port, process = keeper()
    first = both_of(port, set())
    killed = max(first)
    os.kill(killed, signal.SIGKILL)
    now = both_of(port, {killed})
    assert first - {killed} < now
    process.terminate()
    assert process.wait(timeout=30) == 0
    assert until(lambda: all(gone(one) for one in first | now))


@linux_only
def test_without_their_keeper_the_processes_leave_the_address_free(keeper):
    port, process = keeper()
    until(lambda: answer(port))
    process.kill()
    process.wait()

    def is_free():
        try:
            socket.create_server(("127.0.0.1", port)).close()
        except OSError:
            return False
        return True

    assert until(is_free)


@linux_only
def test_what_dies_at_once_again_and_again_is_given_up_with_a_reason(keeper):
    _, process = keeper("broken")
    said = process.communicate(timeout=60)[1]
    assert process.returncode != 0
    assert "expected processes that go on serving, got 3 that ended at once" in said
    assert "no such shop" in said


def test_a_page_that_takes_long_holds_up_no_other(keeper):
    port, _ = keeper(processes=1)
    until(lambda: answer(port))
    told = []

    def wait():
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/wait", timeout=60) as page:
            told.append(page.read())

    waiting = threading.Thread(target=wait)
    waiting.start()
    with urllib.request.urlopen(f"http://127.0.0.1:{port}/go-on", timeout=30) as page:
        assert page.read() == b"None"
    waiting.join()
    assert told == [b"True"]


def test_an_address_that_is_taken_is_told():
    with socket.create_server(("127.0.0.1", 0)) as other:
        door = Door(host="127.0.0.1", port=other.getsockname()[1], limits={})
        with pytest.raises(OSError, match="in use"):
            door.open()


@pytest.mark.parametrize(("linux", "processors", "usual"), [(1, 8, 2), (1, 1, 1), (0, 8, 1)])
def test_there_are_never_more_processes_than_processors(monkeypatch, linux, processors, usual):
    monkeypatch.setattr(serving, "LINUX", bool(linux))
    monkeypatch.setattr("os.cpu_count", lambda: processors)
    assert usual_processes() == usual
