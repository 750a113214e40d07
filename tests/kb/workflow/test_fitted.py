from dataclasses import replace

from kb.case.model import JobState
from kb.workflow import memory
from kb.workflow.jobs import draft_job
from kb.workflow.suggest import Wanted
from tests.kb.workflow.test_close import closed, opened
from tests.kb.workflow.test_suggest import ASKED
from tests.memory_parts import in_two_parts


def test_chances_alone_are_those_of_the_whole_answer(shop):
    closed(shop, opened(shop))
    fitted = shop.memory().fitted()
    job = draft_job(ASKED, words=shop.words, today=shop.today).job
    assert fitted.chances(job) == fitted.suggest(job, Wanted()).causes


def test_it_knows_which_jobs_it_was_fitted_on(shop):
    first = closed(shop, opened(shop))
    fitted = shop.memory().fitted()
    second = closed(shop, opened(shop))
    assert fitted.holds(first.id)
    assert not fitted.holds(second.id)


def test_a_memory_that_fitted_nothing_yet_has_nothing_at_hand(shop):
    closed(shop, opened(shop))
    assert shop.memory().as_fitted() is None


def test_what_is_at_hand_may_be_a_case_behind_and_is_not_fitted_again(shop):
    closed(shop, opened(shop))
    kept = shop.memory()
    before = kept.fitted()
    closed(shop, opened(shop))
    assert kept.as_fitted() is before
    assert kept.fitted() is not before


def test_a_kept_index_of_the_present_state_is_taken_up_and_an_older_one_is_not(
    shop, tmp_path, monkeypatch
):
    monkeypatch.setattr(memory, "WORTH_KEEPING", 1)
    first = closed(shop, opened(shop))
    memory.Memory(shop.store, shop.words, folder=tmp_path).fitted()
    found = memory.Memory(shop.store, shop.words, folder=tmp_path).as_fitted()
    assert found is not None
    assert found.holds(first.id)
    closed(shop, opened(shop))
    assert memory.Memory(shop.store, shop.words, folder=tmp_path).as_fitted() is None


def test_nobody_waits_for_another_who_is_fitting(shop):
    closed(shop, opened(shop))
    busy = shop.memory()
    with busy._lock:
        assert busy.as_fitted() is None


def test_a_job_that_waits_has_the_answers_that_it_had_before(shop):
    closed(shop, opened(shop))
    fitted = shop.memory().fitted()
    job = draft_job(ASKED, words=shop.words, today=shop.today).job
    waiting = replace(job, state=JobState.WAITING, waits_for="a fan")
    known = fitted.explained(job, Wanted())
    assert fitted.explained(waiting, Wanted()) is known
    assert fitted.suggest(waiting, Wanted()) == fitted.suggest(job, Wanted())


def test_an_answer_that_a_part_is_missing_from_is_not_remembered(shop):
    closed(shop, opened(shop))
    kept = shop.memory()
    parts = in_two_parts(kept)
    fitted = kept.fitted()
    job = draft_job(ASKED, words=shop.words, today=shop.today).job
    parts.away = True
    assert (fitted.explained(job, Wanted()).missing, kept.suggest(job).missing) == (1, 1)
    parts.away = False
    whole = fitted.explained(job, Wanted())
    assert (whole.parts, whole.missing) == (2, 0)
    parts.away = True
    assert fitted.explained(job, Wanted()) is whole


def test_of_more_jobs_than_are_remembered_the_last_are(shop, monkeypatch):
    closed(shop, opened(shop))
    monkeypatch.setattr("kb.workflow.fitted.MOST_REMEMBERED", 2)
    fitted = shop.memory().fitted()
    jobs = [
        draft_job(f"{ASKED}; vent {50 + at} F", words=shop.words, today=shop.today).job
        for at in range(3)
    ]
    first, second, third = (fitted.explained(job, Wanted()) for job in jobs)
    assert fitted.explained(jobs[2], Wanted()) is third
    assert fitted.explained(jobs[1], Wanted()) is second
    again = fitted.explained(jobs[0], Wanted())
    assert again == first
    assert again is not first
