import errno
import gc
import shutil
import weakref
from concurrent.futures import ThreadPoolExecutor

import pytest

from kb.diagnosis.calibration import SHIPPED, Calibration
from kb.retrieval import weigh
from kb.retrieval.columns import Texts
from kb.workflow import calibrating, memory
from kb.workflow.jobs import draft_job
from kb.workflow.last_rebuild import last_rebuild
from tests.kb.workflow.conftest import NOW
from tests.kb.workflow.test_close import closed, opened
from tests.kb.workflow.test_suggest import ASKED, ask


def test_a_large_memory_is_kept_for_the_next_process_and_renewed(shop, tmp_path, monkeypatch):
    monkeypatch.setattr(memory, "WORTH_KEEPING", 1)
    first = closed(shop, opened(shop))
    job = draft_job(ASKED, words=shop.words, today=shop.today).job
    fitted = memory.Memory(shop.store, shop.words, folder=tmp_path).suggest(job)
    assert (tmp_path / memory.SNAPSHOT).exists()
    monkeypatch.setattr(memory.Memory, "_fit", lambda self: pytest.fail("fitted again"))
    assert memory.Memory(shop.store, shop.words, folder=tmp_path).suggest(job) == fitted
    monkeypatch.undo()
    second = closed(shop, opened(shop))
    found = memory.Memory(shop.store, shop.words, folder=tmp_path).suggest(job)
    assert {row.case for row in found.matches} == {first.id, second.id}


def test_who_fits_answers_from_the_kept_pages_that_all_processes_share(shop, tmp_path, monkeypatch):
    closed(shop, opened(shop))
    alone = memory.Memory(shop.store, shop.words)
    assert not isinstance(alone.fitted().base.ids_, Texts)
    monkeypatch.setattr(memory, "WORTH_KEEPING", 1)
    keeping = memory.Memory(shop.store, shop.words, folder=tmp_path)
    assert isinstance(keeping.fitted().base.ids_, Texts)
    assert ask(shop, keeping) == ask(shop, alone)


def test_what_is_fitted_is_held_against_the_store_only_after_a_write(shop, tmp_path, monkeypatch):
    closed(shop, opened(shop))
    alone, looks = memory.Memory(shop.store, shop.words), []

    def looking(unit):
        looks.append(unit)
        return last_rebuild(unit)

    monkeypatch.setattr(memory, "last_rebuild", looking)
    fitted = alone.fitted()
    assert all(alone.fitted() is fitted for _ in range(3))
    assert len(looks) == 1
    job = opened(shop)
    assert alone.fitted() is not None
    assert len(looks) == 2
    case = closed(shop, job)
    assert alone.fitted().holds(case.id)
    assert len(looks) == 3
    # What others fit of jobs that were laid over it is taken up without a write.
    alone._fitted = alone.fitted().with_later(alone.fitted().source, (), {case.id})
    assert [alone.fitted().later for _ in range(2)] == [1, 1]
    assert len(looks) == 5


def test_what_could_not_be_kept_answers_all_the_same(shop, tmp_path, monkeypatch):
    monkeypatch.setattr(memory, "WORTH_KEEPING", 1)
    first = closed(shop, opened(shop))
    memory.Memory(shop.store, shop.words, folder=tmp_path).fitted()
    second = closed(shop, opened(shop))

    def full(*args, **more):
        raise OSError(errno.ENOSPC, "no room")

    monkeypatch.setattr(memory, "write_snapshot", full)
    monkeypatch.setattr(memory, "followed", lambda *args: None)
    fitted = memory.Memory(shop.store, shop.words, folder=tmp_path).fitted()
    assert set(fitted.base.ids_) == {first.id, second.id}


def test_a_rebuild_fits_the_numbers_once_and_keeps_them(shop, tmp_path, monkeypatch):
    monkeypatch.setattr(memory, "WORTH_KEEPING", 1)
    fits = []

    def fit(jobs, words, *, parts):
        fits.append(len(jobs))
        return Calibration(vote=0.9, tried=len(jobs))

    monkeypatch.setattr(calibrating, "calibrate", fit)
    closed(shop, opened(shop))
    closed(shop, opened(shop))
    fitted = memory.Memory(shop.store, shop.words, folder=tmp_path)
    assert fitted.model().calibration == SHIPPED
    assert fitted.rebuild("Ines", NOW).numbers.vote == 0.9
    closed(shop, opened(shop))
    again = memory.Memory(shop.store, shop.words, folder=tmp_path)
    assert again.model().calibration.vote == 0.9
    assert fits == [2]
    shutil.rmtree(tmp_path / memory.SNAPSHOT)
    assert memory.Memory(shop.store, shop.words, folder=tmp_path).model().calibration.vote == 0.9


def test_what_a_rebuild_learns_counts_in_the_very_next_answer(shop, tmp_path, monkeypatch):
    monkeypatch.setattr(weigh, "WORTH_LEARNING", 8)
    for _ in range(8):
        closed(shop, opened(shop))
    kept = memory.Memory(shop.store, shop.words, folder=tmp_path)
    before = ask(shop, kept).matches[0]
    kept.rebuild("Ines", NOW)
    after = ask(shop, kept).matches[0]
    assert not {"learned", "spelling"} & {reason.part for reason in before.reasons}
    assert "spelling" in {reason.part for reason in after.reasons}
    assert sum(reason.weight for reason in after.reasons) == pytest.approx(after.score)


def test_too_few_cases_teach_nothing_and_take_away_what_was_learned(shop, tmp_path):
    closed(shop, opened(shop))
    (tmp_path / memory.LEARNED).write_bytes(b"old")
    assert memory.Memory(shop.store, shop.words, folder=tmp_path).rebuild("Ines", NOW).fields == 0
    assert not (tmp_path / memory.LEARNED).exists()


@pytest.mark.usefixtures("collector")
def test_what_is_fitted_is_kept_from_the_collector_and_let_go_when_renewed(shop, monkeypatch):
    closed(shop, opened(shop))
    collected: list[int] = []
    collect = gc.collect
    monkeypatch.setattr(gc, "collect", lambda: collected.append(collect()))
    ours = shop.memory()
    old = weakref.ref(ours.fitted().base)
    assert gc.get_freeze_count() > 0
    before = len(collected)
    ours.fitted()
    assert len(collected) == before
    closed(shop, opened(shop))
    ours.fitted()
    assert len(collected) == before + 1
    assert old() is None
    assert gc.get_freeze_count() > 0


@pytest.mark.usefixtures("collector")
def test_what_another_process_fitted_since_takes_the_place_of_what_was_here(
    shop, tmp_path, monkeypatch
):
    monkeypatch.setattr(memory, "WORTH_KEEPING", 1)
    closed(shop, opened(shop))
    theirs = memory.Memory(shop.store, shop.words, folder=tmp_path)
    theirs.fitted()
    ours = memory.Memory(shop.store, shop.words, folder=tmp_path)
    old = weakref.ref(ours.fitted().base)
    closed(shop, opened(shop))
    theirs.fitted()
    monkeypatch.setattr(memory.Memory, "_fit", lambda *known: pytest.fail("fitted again"))
    assert len(ours.fitted().base) == 2
    assert old() is None


def test_who_began_to_read_before_a_close_takes_what_was_fitted_since(shop, monkeypatch):
    closed(shop, opened(shop))
    kept = shop.memory()
    with shop.store.read() as unit:
        before = unit.state()
        with ThreadPoolExecutor(1) as other:
            other.submit(closed, shop, opened(shop)).result()
            now = other.submit(kept.fitted).result()
        assert now.state != before
        monkeypatch.setattr(memory.Memory, "_fit", lambda *known: pytest.fail("fitted again"))
        assert kept.fitted() is now
