"""The memory in parts answers as in one, whatever is written, fitted anew or lost."""

import errno
import shutil
from dataclasses import replace

import pytest

from kb.retrieval import cluster, snapshot
from kb.retrieval.shards import ShardedIndex
from kb.workflow import following, memory, spread
from kb.workflow.memory import Memory
from kb.workflow.spread import SHARDS, PartFiles, Spread, forget_parts
from kb.workflow.undo import undo_last
from tests.kb.workflow.conftest import NOW
from tests.kb.workflow.test_close import closed, opened
from tests.kb.workflow.test_suggest import ASKED, ask
from tests.memory_parts import KeptHere

pytestmark = pytest.mark.both_engines
PARTS = 3
TOLD = (
    "squeal when cold",
    "no crank, no click",
    "vent 69 F",
    "whistle from the roof",
    "low 20 psi",
)


@pytest.fixture(autouse=True)
def _small_shops_are_kept_and_followed(monkeypatch):
    monkeypatch.setattr(following, "FOLLOWED_FROM", 1)
    monkeypatch.setattr(memory, "WORTH_KEEPING", 1)


@pytest.fixture
def home(shop, tmp_path):
    """Return the folder of a shop of ten cases."""
    for told in TOLD * 2:
        change(shop, closed(shop, opened(shop)), told)
    return tmp_path


def change(shop, job, told):
    with shop.store.write("Ines", NOW) as unit:
        unit.jobs.save(replace(job, lines=(told, *job.lines)), verb="edit", what="lines")


def one(shop, home):
    return Memory(shop.store, shop.words, folder=home)


def in_parts(shop, home, hold=KeptHere, **known):
    files = PartFiles(home, PARTS)
    return Memory(shop.store, shop.words, folder=home, spread=Spread(files, hold, least=1, **known))


def number_known(home):
    files = PartFiles.known(home)
    return files and files.parts


def folders(home):
    return sorted(path.name for path in (home / SHARDS).iterdir() if path.is_dir())


def assert_alike(shop, parted, whole):
    assert isinstance(parted.fitted().index, ShardedIndex)
    for text in (ASKED, *TOLD):
        found = ask(shop, parted, text)
        assert (found.parts, found.missing) == (PARTS, 0)
        assert replace(found, parts=1) == ask(shop, whole, text)


def test_it_answers_as_in_one_part_whatever_is_written(shop, home):
    whole, parted = one(shop, home), in_parts(shop, home)
    assert_alike(shop, parted, whole)
    case = closed(shop, opened(shop))
    assert case.id in {row.case for row in ask(shop, parted).matches}
    assert parted.fitted().later == 1
    assert_alike(shop, parted, whole)
    change(shop, case, "roof whistle")
    with shop.store.read() as unit:
        old = unit.jobs.closed_jobs()[0]
    change(shop, old, "roof rack whistle")
    assert_alike(shop, parted, whole)
    shop.write(undo_last, old.id, words=shop.words)
    assert_alike(shop, parted, whole)
    assert len(folders(home)) == 1


def test_parts_that_are_written_are_only_read_by_the_next_process(shop, home, monkeypatch):
    in_parts(shop, home).fitted()
    closed(shop, opened(shop))
    monkeypatch.setattr(spread, "write_shards", lambda *_, **__: pytest.fail("written again"))
    parted, whole = in_parts(shop, home), one(shop, home)
    assert parted.fitted().later == 1
    assert_alike(shop, parted, whole)


def test_parts_written_after_more_was_closed_hold_what_the_kept_index_holds(shop, home):
    one(shop, home).fitted()
    with shop.store.read() as unit:
        old, other = unit.jobs.closed_jobs()[:2]
    change(shop, old, "a whistle that it never had")
    shop.write(undo_last, other.id, words=shop.words)
    closed(shop, opened(shop))
    parted, whole = in_parts(shop, home), one(shop, home)
    assert parted.fitted().later > 0
    assert_alike(shop, parted, whole)


def test_harmed_parts_are_written_again(shop, home):
    first = in_parts(shop, home)
    folder = first.fitted().index.shards.folder
    shutil.rmtree(folder / "shard-0001")
    assert_alike(shop, in_parts(shop, home), one(shop, home))


def test_a_refit_anywhere_writes_them_before_the_new_index_is_there(shop, home, monkeypatch):
    monkeypatch.setattr(following, "SHARE_FOLLOWED", 0.0)
    ours = in_parts(shop, home)
    before = ours.fitted().index.shards.folder
    closed(shop, opened(shop))
    assert ours.fitted().later == 1
    found = []

    def write_snapshot(*args, **known):
        found.extend(folders(home))
        snapshot.write_snapshot(*args, **known)

    monkeypatch.setattr(memory, "write_snapshot", write_snapshot)
    assert one(shop, home).refit()
    assert len(found) == 2
    monkeypatch.setattr(spread, "write_shards", lambda *_, **__: pytest.fail("written again"))
    assert_alike(shop, ours, one(shop, home))
    assert ours.fitted().later == 0
    assert ours.fitted().index.shards.folder != before


def test_of_old_states_only_the_last_stays(shop, home, monkeypatch):
    monkeypatch.setattr(
        memory,
        "followed",
        lambda _unit, known, source: known if known.state == source.state else None,
    )
    parted = in_parts(shop, home)
    seen = []
    for _ in range(3):
        seen.append(parted.fitted().index.shards.folder.name)
        closed(shop, opened(shop))
    assert folders(home) == sorted(seen[-2:])


def test_another_number_of_parts_is_written_anew(shop, home):
    in_parts(shop, home).fitted()
    assert number_known(home) == PARTS
    more = Spread(PartFiles(home, 5), KeptHere, least=1)
    parted = Memory(shop.store, shop.words, folder=home, spread=more)
    assert ask(shop, parted).parts == 5
    assert number_known(home) == 5


def test_without_room_it_answers_in_one_part_and_does_not_try_each_time(
    shop, home, monkeypatch, caplog
):
    tries = []

    def full(path, *_):
        tries.append(path)
        raise OSError(errno.ENOSPC, "no room")

    monkeypatch.setattr(cluster, "write_snapshot", full)
    parted, whole = in_parts(shop, home), one(shop, home)
    for _ in range(2):
        found = ask(shop, parted)
        assert found == ask(shop, whole)
        assert found.parts == 1
    assert len(tries) == 1
    assert folders(home) == []
    assert "the memory stays in one part" in caplog.text


def test_a_small_shop_stays_in_one_part(shop, home):
    files = PartFiles(home, PARTS)
    few = Spread(files, KeptHere, least=11)
    parted = Memory(shop.store, shop.words, folder=home, spread=few)
    assert ask(shop, parted).parts == 1
    assert not (home / SHARDS).exists()
    assert PartFiles.known(home) is None


def test_what_was_taken_up_at_a_close_is_asked_in_parts_by_the_next_search(shop, home):
    one(shop, home).fitted()
    parted = in_parts(shop, home)
    at_hand = parted.as_fitted()
    assert at_hand is not None
    assert not isinstance(at_hand.index, ShardedIndex)
    assert ask(shop, parted).parts == PARTS


def test_parts_that_nobody_asks_are_taken_away(shop, home, monkeypatch):
    forget_parts(home)
    in_parts(shop, home).fitted()
    forget_parts(home)
    assert not (home / SHARDS).exists()
    monkeypatch.setattr(following, "SHARE_FOLLOWED", 0.0)
    closed(shop, opened(shop))
    assert one(shop, home).refit()
    assert not (home / SHARDS).exists()
