import subprocess
import sys
from dataclasses import replace

import pytest

from kb.case.model import Finding
from kb.errors import EmptyIndexError
from kb.workflow import suggest
from kb.workflow.close import CloseAnswers
from kb.workflow.jobs import draft_job
from tests.kb.workflow.test_close import PROVEN, closed, opened

ASKED = "cold on the highway, warm in traffic"

CLOSE_IN_ANOTHER_PROCESS = """
import sys
from datetime import UTC, date, datetime
from kb.case.model import Proof
from kb.case.terms import load_vocabulary
from kb.store.engine import open_store
from kb.workflow.close import CloseAnswers, close_job
from kb.workflow.jobs import Intake, open_job
words, today = load_vocabulary(), date(2026, 5, 4)
with open_store(sys.argv[1]).write("Bo", datetime.now(UTC)) as unit:
    job = open_job(unit, Intake(text="zorble noise from the frunk"), words=words, today=today).job
    answers = CloseAnswers(cause="overcharge", proofs=[Proof(method="seen")])
    close_job(unit, job.id, answers, words=words, today=today)
    print(job.id)
"""


def ask(shop, memory, text=ASKED):
    return memory.suggest(draft_job(text, words=shop.words, today=shop.today).job)


def test_a_case_closed_a_moment_ago_is_in_the_very_next_answer(shop):
    closed(shop, opened(shop))
    memory = shop.memory()
    assert len(ask(shop, memory).matches) == 1
    second = closed(shop, opened(shop))
    assert second.id in {row.case for row in ask(shop, memory).matches}


def test_a_case_closed_in_another_process_is_in_the_next_answer_of_this_one(shop):
    closed(shop, opened(shop))
    memory = shop.memory()
    before = {row.case for row in ask(shop, memory).matches}
    run = [sys.executable, "-c", CLOSE_IN_ANOTHER_PROCESS, shop.url]
    done = subprocess.run(run, check=True, capture_output=True, text=True)
    found = ask(shop, memory, "zorble noise").matches[0].case
    assert found == done.stdout.strip()
    assert found not in before


def test_an_open_job_is_not_a_witness(shop):
    first = closed(shop, opened(shop))
    opened(shop)
    assert {row.case for row in ask(shop, shop.memory()).matches} == {first.id}


def test_reasons_add_up_and_the_chance_is_that_of_the_cause(shop):
    closed(shop, opened(shop))
    answer = ask(shop, shop.memory())
    match = answer.matches[0]
    assert sum(reason.weight for reason in match.reasons) == pytest.approx(match.score)
    by_cause = {row.cause: row.chance for row in answer.causes}
    assert match.chance == by_cause[match.cause]


def test_an_overturned_case_is_shown_as_such(shop):
    first = closed(shop, opened(shop))
    closed(
        shop,
        opened(shop, comeback_of=first.id),
        CloseAnswers(cause="overcharge", proofs=PROVEN.proofs),
    )
    standing = {row.case: row.standing for row in ask(shop, shop.memory()).matches}
    assert standing[first.id] == "overturned"


def test_a_shop_without_a_case_says_what_to_do(shop):
    with pytest.raises(EmptyIndexError, match="close a job"):
        ask(shop, shop.memory())


def test_a_check_already_done_on_the_job_is_not_advised(shop):
    closed(shop, opened(shop))
    memory = shop.memory()
    job = draft_job("blower runs, air never gets cool", words=shop.words, today=shop.today).job
    first = memory.suggest(job).checks[0]
    outcome = shop.words.checks[first.check].outcomes[0]
    done = Finding(check=first.check, subject=first.subject, outcome=outcome)
    again = memory.suggest(replace(job, findings=(done,))).checks
    assert (first.check, first.subject) not in {(row.check, row.subject) for row in again}


def test_a_large_memory_is_kept_for_the_next_process_and_renewed(shop, tmp_path, monkeypatch):
    monkeypatch.setattr(suggest, "WORTH_KEEPING", 1)
    first = closed(shop, opened(shop))
    job = draft_job(ASKED, words=shop.words, today=shop.today).job
    fitted = suggest.Memory(shop.store, shop.words, folder=tmp_path).suggest(job)
    assert (tmp_path / suggest.SNAPSHOT).exists()
    monkeypatch.setattr(suggest.Memory, "_fit", lambda self: pytest.fail("fitted again"))
    assert suggest.Memory(shop.store, shop.words, folder=tmp_path).suggest(job) == fitted
    monkeypatch.undo()
    second = closed(shop, opened(shop))
    found = suggest.Memory(shop.store, shop.words, folder=tmp_path).suggest(job)
    assert {row.case for row in found.matches} == {first.id, second.id}


def test_what_a_rebuild_learns_counts_in_the_very_next_answer(shop, tmp_path, monkeypatch):
    monkeypatch.setattr(suggest, "WORTH_LEARNING", 8)
    for _ in range(8):
        closed(shop, opened(shop))
    memory = suggest.Memory(shop.store, shop.words, folder=tmp_path)
    before = ask(shop, memory).matches[0]
    memory.rebuild()
    after = ask(shop, memory).matches[0]
    assert not {"learned", "spelling"} & {reason.part for reason in before.reasons}
    assert "spelling" in {reason.part for reason in after.reasons}
    assert sum(reason.weight for reason in after.reasons) == pytest.approx(after.score)


def test_too_few_cases_teach_nothing_and_take_away_what_was_learned(shop, tmp_path):
    closed(shop, opened(shop))
    (tmp_path / suggest.LEARNED).write_bytes(b"old")
    assert suggest.Memory(shop.store, shop.words, folder=tmp_path).rebuild() == 0
    assert not (tmp_path / suggest.LEARNED).exists()
