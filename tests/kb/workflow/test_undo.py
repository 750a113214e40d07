import pytest

from kb.case.model import JobState, Proof
from kb.case.standing import standing_of
from kb.errors import ConflictError, NotFoundError
from kb.store.journal import HistoryRepository
from kb.workflow.close import CloseAnswers, close_job
from kb.workflow.jobs import Intake, add_text, draft_job, open_job, set_waiting
from kb.workflow.undo import as_closed_before, text_taken_back, undo_last, written_since
from tests.kb.workflow.conftest import TODAY, WORDS


def opened(shop, text="no crank, one click"):
    return shop.write(open_job, Intake(text=text), words=WORDS, today=TODAY).job.id


def test_the_last_write_is_taken_back_whole_and_a_second_undo_brings_it_back(shop):
    job = opened(shop)
    before = shop.get(job)
    after = shop.write(add_text, job, "batt 12.1 V; drop 1.9 V", words=WORDS).job
    undone = shop.write(undo_last, job, words=WORDS)
    assert undone.job == shop.get(job) == before
    assert (undone.line.verb, undone.line.what) == ("add", "batt 12.1 V; drop 1.9 V")
    assert [line.verb for line in shop.history(job)] == ["open", "add", "undo"]
    assert shop.write(undo_last, job, words=WORDS).job == after


def test_a_write_is_taken_back_without_reading_the_whole_history(shop, monkeypatch):
    job = opened(shop)
    shop.write(add_text, job, "batt 12.1 V", words=WORDS)
    before = shop.get(job)
    shop.write(set_waiting, job, "a part")

    def of(history, job_id):
        raise AssertionError(f"expected the last line only, got all of {job_id}")

    monkeypatch.setattr(HistoryRepository, "of", of)
    assert shop.write(undo_last, job, words=WORDS).line.what == "a part"
    assert shop.get(job) == before
    with shop.store.read() as unit:
        assert text_taken_back(unit, job) == ""
        assert [line.verb for line in written_since(unit, job, 2)] == ["wait", "undo"]


def test_the_text_that_the_last_write_took_back_is_told_until_somebody_writes_again(shop):
    job = opened(shop)

    def taken_back():
        with shop.store.read() as unit:
            return text_taken_back(unit, job)

    assert taken_back() == ""
    shop.write(add_text, job, "batt: 12.1 V", words=WORDS)
    assert taken_back() == ""
    shop.write(undo_last, job, words=WORDS)
    assert taken_back() == "batt: 12.1 V"
    shop.write(undo_last, job, words=WORDS)
    assert taken_back() == ""
    shop.write(set_waiting, job, "a part")
    shop.write(undo_last, job, words=WORDS)
    assert taken_back() == ""


def test_a_close_that_is_taken_back_leaves_no_case(shop):
    job = opened(shop)
    answers = CloseAnswers(cause="starter_worn", proofs=[Proof(method="seen", text="x")])
    shop.write(close_job, job, answers, words=WORDS, today=TODAY)
    memory = shop.memory()
    question = draft_job("no crank, one click", words=WORDS, today=TODAY).job
    assert [row.case for row in memory.suggest(question).matches] == [job]
    shop.write(undo_last, job, words=WORDS)
    assert shop.get(job).state is JobState.OPEN
    assert memory.size() == 0


def test_a_first_case_stands_again_when_the_close_of_its_comeback_is_taken_back(shop):
    first, second = opened(shop), opened(shop, "no crank again, one click")

    def closed(job, cause, comeback_of=None):
        proofs = [Proof(method="seen", text="x")]
        answers = CloseAnswers(cause=cause, proofs=proofs, comeback_of=comeback_of)
        shop.write(close_job, job, answers, words=WORDS, today=TODAY)

    closed(first, "starter_worn")
    closed(second, "cable_corroded", first)
    assert standing_of(shop.get(first)) == "overturned"
    shop.write(undo_last, second, words=WORDS)
    assert standing_of(shop.get(first)) == "proven"
    assert shop.history(first)[-1].verb == "stand again"
    shop.write(undo_last, second, words=WORDS)
    assert standing_of(shop.get(first)) == "overturned"
    shop.write(undo_last, second, words=WORDS)
    closed(second, "starter_worn", first)
    assert standing_of(shop.get(first)) != "overturned"


def test_an_opening_cannot_be_taken_back_and_says_what_to_do(shop):
    job = opened(shop)
    with pytest.raises(ConflictError, match="as it was opened"):
        shop.write(undo_last, job, words=WORDS)
    with pytest.raises(NotFoundError):
        shop.write(undo_last, "J404", words=WORDS)


def test_what_others_wrote_meanwhile_is_told_line_by_line(shop):
    job = opened(shop)
    shop.write(set_waiting, job, "parts")
    shop.write(add_text, job, "batt 12.1 V", words=WORDS)
    with shop.store.read() as unit:
        assert [line.what for line in written_since(unit, job, 1)] == ["parts", "batt 12.1 V"]
        assert written_since(unit, job, 3) == ()


def test_a_reopened_job_knows_how_it_was_closed_and_a_fresh_one_does_not(shop):
    job = opened(shop)
    with shop.store.read() as unit:
        assert as_closed_before(unit, job, words=WORDS) is None
    answers = CloseAnswers(cause="starter_worn", proofs=[Proof(method="seen", text="x")])
    shop.write(close_job, job, answers, words=WORDS, today=TODAY)
    closed = shop.get(job)
    shop.write(undo_last, job, words=WORDS)
    shop.write(add_text, job, "batt 12.1 V", words=WORDS)
    with shop.store.read() as unit:
        assert as_closed_before(unit, job, words=WORDS) == closed
