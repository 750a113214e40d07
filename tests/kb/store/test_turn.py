import fcntl
import multiprocessing
import os
import signal
import threading
import time

import pytest

from kb.errors import StoreError
from kb.store import turn
from kb.store.turn import Turn

FORKED = multiprocessing.get_context("fork")


@pytest.fixture
def database(tmp_path):
    return tmp_path / "baybook.db"


def holding(database, held):
    """Hold the turn in another process until it is killed."""
    with Turn(database).taken(others_ms=20_000):
        held.set()
        time.sleep(60)


@pytest.fixture
def holder(database):
    """Return a process that holds the turn."""
    held = FORKED.Event()
    process = FORKED.Process(target=holding, args=(database, held))
    process.start()
    assert held.wait(20)
    yield process
    process.kill()
    process.join(20)


def test_threads_have_the_turn_one_after_the_other(database):
    ours, inside, most = Turn(database), [], []

    def write():
        for _ in range(20):
            with ours.taken(others_ms=20_000):
                inside.append(1)
                most.append(len(inside))
                inside.pop()

    threads = [threading.Thread(target=write) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert most == [1] * 80


@pytest.mark.usefixtures("holder")
def test_who_does_not_get_the_turn_is_told_so(database):
    with (
        pytest.raises(StoreError, match="another program holds"),
        Turn(database).taken(others_ms=30),
    ):
        pytest.fail("the turn was taken twice")


def test_a_turn_is_free_when_its_process_was_killed(database, holder):
    os.kill(holder.pid, signal.SIGKILL)
    holder.join(20)
    with Turn(database).taken(others_ms=2000):
        assert holder.exitcode == -signal.SIGKILL


def take_once(database, order, name, go):
    go.wait(60)
    with Turn(database).taken(others_ms=20_000), order.open("a") as file:
        file.write(name)


def is_shut(door):
    """Tell whether somebody stands in a door."""
    with door.open("ab") as file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            return True
        return False


def test_who_waits_is_before_all_who_come_later(database, tmp_path):
    order, signals = tmp_path / "order", [FORKED.Event(), FORKED.Event()]
    # Begun before a door is held: they would hold it too.
    processes = [
        FORKED.Process(target=take_once, args=(database, order, name, go))
        for name, go in zip("ab", signals, strict=True)
    ]
    for process in processes:
        process.start()
    with Turn(database).taken(others_ms=20_000):
        signals[0].set()
        while not is_shut(tmp_path / "baybook.db-turn-first"):
            time.sleep(0.001)
        signals[1].set()
        # Long enough for the later one to have looked many times.
        time.sleep(0.1)
    for process in processes:
        process.join(60)
    assert order.read_text() == "ab"


def test_where_no_file_can_be_made_the_database_keeps_the_order(tmp_path):
    with Turn(tmp_path / "missing" / "baybook.db").taken(others_ms=20_000):
        assert not (tmp_path / "missing").exists()


def test_a_database_on_a_server_has_no_doors(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    with Turn(None).taken(others_ms=20_000):
        assert list(tmp_path.iterdir()) == []


def test_without_locks_of_files_threads_still_queue(database, monkeypatch):
    monkeypatch.setattr(turn, "fcntl", None)
    with Turn(database).taken(others_ms=20_000):
        assert not list(database.parent.iterdir())
