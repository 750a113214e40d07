import subprocess
import sys
from dataclasses import replace

import pytest

from kb.case.model import Finding, Origin, Standing
from kb.diagnosis.access import ACCESS_MINUTES, access_of
from kb.diagnosis.explain import Explainer
from kb.errors import EmptyIndexError
from kb.retrieval.similarity import Reason
from kb.workflow.close import CloseAnswers
from kb.workflow.jobs import draft_job
from kb.workflow.suggest import (
    CAUSES_SHOWN,
    FROM_ANOTHER_SHOP,
    SeenBefore,
    fit_memory,
    suggest_from,
    witness_weight,
)
from tests.factories import a_case
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


def test_a_check_whose_readings_are_typed_is_not_advised(shop):
    closed(shop, opened(shop))
    memory = shop.memory()

    def advised(text):
        asked = memory.suggest(draft_job(text, words=shop.words, today=shop.today).job)
        return {row.check for row in asked.checks}, asked

    text = "vents warm, compressor runs"
    checks, _ = advised(f"{text}; low side 56 psi")
    assert "ac_pressures" in checks
    checks, _ = advised(f"{text}; low side 56 psi, high side 322 psi")
    assert "ac_pressures" not in checks


def test_the_causes_shown_come_with_their_reasons_and_no_others(shop):
    closed(shop, opened(shop))
    answer = ask(shop, shop.memory())
    named = [row.cause for row in answer.shown if row.cause is not None]
    assert len(named) == CAUSES_SHOWN
    assert named == [row.cause for row in answer.causes if row.cause is not None][:CAUSES_SHOWN]
    assert [row.cause for row in answer.shown].count(None) == 1
    assert [row.cause for row in answer.reasons] == named
    chances = [row.chance for row in answer.shown]
    assert chances == sorted(chances, reverse=True)
    assert answer.why(named[0]) == answer.reasons[0]
    assert answer.why(None) is None
    assert answer.why("no such cause") is None


def test_reasons_are_worked_out_only_where_they_are_asked_for(shop):
    closed(shop, opened(shop))
    with shop.store.read() as unit:
        jobs = tuple(unit.jobs.closed_jobs())
    index, model = fit_memory(jobs, shop.words)
    job = draft_job(ASKED, words=shop.words, today=shop.today).job
    plain = suggest_from(index, model, job)
    assert plain.reasons == ()
    told = suggest_from(index, model, job, explainer=Explainer(model))
    assert replace(told, reasons=()) == plain
    assert told.reasons


def test_a_match_names_its_strongest_reasons_and_leaves_out_what_moves_nothing():
    weights = (2.0, 0.05, -0.3, 1.0, -0.7, 0.4, 0.3, -0.01)
    reasons = tuple(
        Reason(part="symptom", what=str(weight), weight=weight)
        for weight in sorted(weights, key=lambda weight: -abs(weight))
    )
    match = SeenBefore(
        case="A",
        score=1.0,
        chance=0.5,
        cause=None,
        standing=Standing.PROVEN,
        origin=Origin.SHOP,
        reasons=reasons,
    )
    assert [row.weight for row in match.speaks_for] == [2.0, 1.0, 0.4]
    assert [row.weight for row in match.speaks_against] == [-0.7]
    weak = replace(match, reasons=reasons[-2:])
    assert weak.speaks_for == weak.speaks_against == ()


def test_a_check_that_was_done_has_opened_its_access_for_the_others(shop):
    closed(shop, opened(shop))
    memory = shop.memory()
    job = draft_job(ASKED, words=shop.words, today=shop.today).job
    behind = {key for key, row in shop.words.checks.items() if access_of(row) == "hood"}
    done = Finding(check="ac_pressures", outcome="both_high")
    skipped = replace(done, outcome="not_done")
    assert done.check in behind

    def openings(*findings):
        found = memory.suggest(replace(job, findings=findings)).checks
        return {row.opening for row in found if row.check in behind}

    assert openings() == openings(skipped) == {ACCESS_MINUTES["hood"]}
    assert openings(done) == {0.0}


def test_checks_look_and_whether_any_settles_it_are_those_of_the_next_steps(shop):
    closed(shop, opened(shop))
    memory = shop.memory()
    job = draft_job(ASKED, words=shop.words, today=shop.today).job
    found = memory.suggest(job)
    every = tuple(
        Finding(check=key, outcome=row.outcomes[0]) for key, row in shop.words.checks.items()
    )
    asked_all = memory.suggest(replace(job, findings=every))
    assert found.settles
    assert found.checks
    assert (asked_all.settles, asked_all.checks) == (False, ())
    assert (asked_all.look is None) == asked_all.nothing_like_it


def test_a_case_of_another_shop_weighs_less_until_it_is_confirmed_here():
    own = a_case("J1")
    weights = [witness_weight(replace(own, origin=origin)) for origin in Origin]
    by_origin = dict(zip(Origin, weights, strict=True))
    assert by_origin.pop(Origin.ANOTHER_SHOP) == FROM_ANOTHER_SHOP * witness_weight(own) > 0
    assert set(by_origin.values()) == {witness_weight(own)}


def test_two_causes_with_one_case_each_are_parted_by_whose_case_it_is(shop):
    job = draft_job(ASKED, words=shop.words, today=shop.today).job
    ours = a_case("J1", "condenser_fan_dead", lines=(ASKED,))
    theirs = a_case("P1", "condenser_fouled", lines=(ASKED,), origin=Origin.ANOTHER_SHOP)

    def ratio(origin):
        cases = (ours, replace(theirs, origin=origin))
        found = suggest_from(*fit_memory(cases, shop.words), job)
        chance = {row.cause: row.chance for row in found.causes}
        assert {row.case: row.origin for row in found.matches} == {"J1": Origin.SHOP, "P1": origin}
        return chance["condenser_fouled"] / chance["condenser_fan_dead"]

    assert ratio(Origin.ANOTHER_SHOP) < ratio(Origin.CONFIRMED_HERE) == ratio(Origin.IMPORTED)
