import multiprocessing
import os
import signal
import threading
import time
from itertools import groupby

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


def take_often(database, order, name):
    ours = Turn(database)
    for _ in range(40):
        with ours.taken(others_ms=20_000):
            order.append(name)
            time.sleep(0.002)


def test_processes_that_write_all_the_time_take_turns(database):
    with FORKED.Manager() as manager:
        order = manager.list()
        processes = [
            FORKED.Process(target=take_often, args=(database, order, name)) for name in "ab"
        ]
        for process in processes:
            process.start()
        for process in processes:
            process.join(60)
        taken = list(order)
    assert sorted(taken) == ["a"] * 40 + ["b"] * 40
    # While both write neither is passed over for long.
    both = taken[: min(len(taken) - taken[::-1].index(name) for name in "ab")]
    first_of_second = max(both.index(name) for name in "ab")
    runs = [len(list(same)) for _, same in groupby(both[first_of_second:])]
    assert max(runs) <= 4


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
