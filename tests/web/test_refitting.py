import subprocess
import threading

import pytest

from kb.store.engine import default_url
from kb.store.turn import Turn
from tests.factories import make_store
from web import refitting
from web.refitting import refits, start_refit


@pytest.fixture
def url(tmp_path):
    made = default_url(tmp_path)
    make_store(made)
    return made


def test_while_one_process_fits_another_turns_back(url, tmp_path, monkeypatch):
    started = []

    def run(words, **_):
        started.append(words[2:])
        return subprocess.CompletedProcess(words, 0)

    monkeypatch.setattr("web.beside.subprocess.run", run)
    with Turn(tmp_path / "refit").taken(0, others_ms=0):
        assert not start_refit(url, tmp_path)
    assert started == []
    assert start_refit(url, tmp_path)
    assert started == [["web.cli", "rebuild", "--if-due"]]


def test_the_thread_looks_until_the_pages_end(url, tmp_path, monkeypatch):
    monkeypatch.setattr(refitting, "LOOK_EVERY_S", 0.01)
    looked = threading.Semaphore(0)

    def run(*given):
        assert given == (url, tmp_path)
        looked.release()
        return True

    with refits(url, home=tmp_path, run=run) as begin:
        begin(lambda: True)
        assert looked.acquire(timeout=30)
        assert looked.acquire(timeout=30)


def test_nothing_is_started_while_little_is_new(url, tmp_path, monkeypatch):
    monkeypatch.setattr(refitting, "LOOK_EVERY_S", 0.001)
    looked = threading.Semaphore(0)

    def is_due():
        looked.release()
        return False

    with refits(url, home=tmp_path, run=lambda *_: pytest.fail("started")) as begin:
        begin(is_due)
        for _ in range(3):
            assert looked.acquire(timeout=30)


def test_the_program_that_is_started_runs(url, tmp_path, capfd):
    assert start_refit(url, tmp_path)
    assert capfd.readouterr().err == ""
