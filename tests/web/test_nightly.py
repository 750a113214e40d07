import threading
import time
from datetime import UTC, datetime, timedelta

import pytest

from kb.errors import StoreError
from kb.store.archive import read_manifest
from kb.store.backup_files import backups_in
from kb.store.engine import default_url, open_store
from kb.workflow.nightly import last_done, note_done
from tests.factories import make_store
from web import nightly as nightly_module
from web.nightly import Nightly, nightly_backups, start_backup, steady_seconds, wall_clock

START = datetime(2026, 5, 4, 1, 30, tzinfo=UTC)


@pytest.fixture
def url(tmp_path):
    made = default_url(tmp_path)
    make_store(made)
    return made


class World:
    """A clock on the wall, a steady one, and the backups that were made."""

    def __init__(self, url, home):
        self.url, self.home, self.now, self.steady, self.made = url, home, START, 0.0, []

    def run(self, url, home):
        self.made.append(self.now)
        with open_store(url) as store:
            note_done(store, self.now, who="x")
        return True

    def process(self, run=None):
        return Nightly(
            url=self.url,
            home=self.home,
            clock=lambda: self.now,
            steady=lambda: self.steady,
            run=run or self.run,
        )

    def pass_by(self, hours, *processes, jump=0):
        self.now += timedelta(hours=hours + jump)
        self.steady += hours * 3600
        return [process.look() for process in processes]


@pytest.fixture
def world(url, tmp_path):
    return World(url, tmp_path)


def test_of_several_processes_one_makes_the_nights_backup(world):
    processes = [world.process() for _ in range(3)]
    assert world.pass_by(0, *processes) == [True, False, False]
    assert world.pass_by(0.2, *processes) == [False, False, False]
    assert world.pass_by(24, *processes).count(True) == 1


def test_processes_that_look_at_the_same_moment_make_one(world):
    barrier, made = threading.Barrier(4), []

    def look():
        process = world.process()
        barrier.wait()
        made.append(process.look())

    threads = [threading.Thread(target=look) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(made) == [False, False, False, True]


def test_a_clock_set_forward_brings_no_second_one_in_any_process(world):
    processes = [world.process() for _ in range(2)]
    assert world.pass_by(0, *processes) == [True, False]
    assert world.pass_by(1, *processes, jump=24) == [False, False]
    assert world.pass_by(1, *processes, jump=-24) == [False, False]
    assert world.pass_by(24, *processes).count(True) == 1


def test_one_that_failed_is_made_again_later(world):
    failing = world.process(run=lambda *_: False)
    assert world.pass_by(0, failing) == [False]
    process = world.process()
    assert world.pass_by(1, process) == [False]
    assert world.pass_by(2.1, process) == [True]


def test_a_shop_that_cannot_be_read_is_told(world):
    (world.home / "baybook.db").unlink()
    with pytest.raises(StoreError):
        world.process().look()


@pytest.mark.slow
def test_the_backup_is_made_by_a_program_of_its_own(url, tmp_path):
    assert start_backup(url, tmp_path)
    (made,) = backups_in(tmp_path / "backups")
    assert not made.damaged
    with open_store(url) as store, store.read() as unit:
        done = last_done(unit)
    assert done is not None
    assert abs(done - datetime.now(UTC)) < timedelta(minutes=5)
    assert not start_backup(default_url(tmp_path / "none"), tmp_path / "none")


def test_while_pages_are_served_somebody_looks_and_survives_what_goes_wrong(
    world, monkeypatch, capfd
):
    looked = threading.Event()
    tries = []

    def look(self):
        tries.append(self.url)
        if len(tries) == 1:
            raise StoreError("the disk is gone")
        looked.set()

    monkeypatch.setattr(nightly_module, "LOOK_EVERY_S", 0.01)
    monkeypatch.setattr(Nightly, "look", look)
    with nightly_backups(world.url, home=world.home) as begin:
        begin()
        assert looked.wait(20)
    count = len(tries)
    time.sleep(0.1)
    assert len(tries) <= count + 1
    assert tries[0] == world.url
    assert "no backup was made: the disk is gone" in capfd.readouterr().err


def test_a_shop_on_a_server_is_kept_at_night_too(postgres, tmp_path):
    with postgres.database() as url:
        process = Nightly(url=url, home=tmp_path)
        assert process.look()
        (made,) = backups_in(tmp_path / "backups")
        assert read_manifest(made.path).schema_name == "public"
        assert not process.look()


def test_the_clocks_go_on():
    before = steady_seconds()
    assert steady_seconds() >= before
    assert wall_clock().tzinfo is not None
