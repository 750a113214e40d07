import threading
import time
from typing import Any

import pytest

from web import relief
from web.relief import MOST_THREADS, Relief


@pytest.fixture
def slow():
    """Return an application that answers when it is told to, and what tells it."""
    go_on = threading.Event()

    def answer(environ, start_response):
        go_on.wait(60)
        return [b"done"]

    made: Any = Relief(answer)
    yield made, go_on
    go_on.set()


def asked(answer, times=1):
    threads = [threading.Thread(target=answer, args=({}, None)) for _ in range(times)]
    for each in threads:
        each.start()
    return threads


def test_one_thread_answers_until_a_question_takes_long(slow, monkeypatch):
    answer, go_on = slow
    assert answer.threads() == 1
    threads = asked(answer)
    monkeypatch.setattr(relief, "PATIENCE_S", 60.0)
    assert answer.threads() == 1
    monkeypatch.setattr(relief, "PATIENCE_S", 0.0)
    while answer.threads() < 2:
        time.sleep(0.001)
    go_on.set()
    threads[0].join()
    assert answer.threads() == 1


def test_there_are_never_more_than_the_most(slow, monkeypatch):
    monkeypatch.setattr(relief, "PATIENCE_S", 0.0)
    answer, go_on = slow
    threads = asked(answer, MOST_THREADS + 2)
    while answer.threads() < MOST_THREADS:
        time.sleep(0.001)
    time.sleep(0.01)
    assert answer.threads() == MOST_THREADS
    go_on.set()
    for each in threads:
        each.join()


def test_whoever_serves_is_told_of_each_change(slow, monkeypatch):
    monkeypatch.setattr(relief, "PATIENCE_S", 0.0)
    monkeypatch.setattr(relief, "LOOK_EVERY_S", 0.001)
    answer, go_on = slow
    told: list[int] = []
    changed = threading.Semaphore(0)

    def use(threads):
        told.append(threads)
        changed.release()

    answer.look_on(use)
    asked(answer)
    assert changed.acquire(timeout=30)
    go_on.set()
    assert changed.acquire(timeout=30)
    assert told == [2, 1]


def test_an_error_leaves_nothing_behind(monkeypatch):
    monkeypatch.setattr(relief, "PATIENCE_S", -1.0)

    def answer(environ, start_response):
        raise ValueError("no answer")

    made: Any = Relief(answer)
    with pytest.raises(ValueError, match="no answer"):
        made({}, None)
    assert made.threads() == 1
