from dataclasses import replace

import pytest

from kb.case.model import AfterCheck, FixKind, JobState, Proof, Standing
from kb.case.retake import after_sets, as_found
from kb.case.standing import standing_of
from kb.errors import ConflictError, NotFoundError, NotProvenError, UnknownTermError
from kb.workflow.close import CloseAnswers, close_job
from kb.workflow.jobs import Intake, open_job

pytestmark = pytest.mark.both_engines

TYPED = "cold on the road, warm at lights; hi 318 psi"
PROVEN = CloseAnswers(
    cause="condenser_fan_dead",
    proofs=[Proof(method="measured_out", text="13.6 V at the plug, 0 A")],
    fix=FixKind.REPLACED,
    fix_text="fan",
    after_checks=[AfterCheck(kind="same_readings", text="hi 209")],
)


def opened(shop, **known):
    intake = Intake(text=TYPED, **known)
    return shop.write(open_job, intake, words=shop.words, today=shop.today).job


def closed(shop, job, answers=PROVEN, invoice=None):
    return shop.write(
        close_job, job.id, answers, words=shop.words, today=shop.today, invoice=invoice
    )


def test_a_closed_job_is_a_case(shop):
    case = closed(shop, opened(shop), invoice="501")
    assert case.is_case
    assert case == shop.get(case.id)
    assert case.state is JobState.CLOSED
    assert case.system == "hvac"
    assert standing_of(case) is Standing.PROVEN


@pytest.mark.parametrize(
    ("answers", "missing"),
    [
        (CloseAnswers(), ("cause", "proof")),
        (CloseAnswers(cause="condenser_fan_dead"), ("proof",)),
        (CloseAnswers(proofs=PROVEN.proofs), ("cause",)),
    ],
)
def test_a_close_without_cause_or_proof_says_what_is_missing(shop, answers, missing):
    job = opened(shop)
    with pytest.raises(NotProvenError) as refused:
        closed(shop, job, answers)
    assert refused.value.missing == missing
    assert all(name in str(refused.value) for name in missing)
    assert shop.get(job.id).state is JobState.OPEN


def test_an_end_without_a_cause_is_kept_as_a_job(shop):
    job = closed(shop, opened(shop), CloseAnswers(end="no_fault_found"))
    assert job.state is JobState.CLOSED
    assert not job.is_case


def test_the_same_invoice_twice_makes_one_case(shop):
    job = opened(shop)
    first = closed(shop, job, invoice="501")
    second = closed(shop, job, invoice="501")
    assert first == second
    assert [line.verb for line in shop.history(job.id)] == ["open", "close"]


def test_a_number_that_closed_another_job_is_refused(shop):
    closed(shop, opened(shop), invoice="501")
    with pytest.raises(ConflictError, match="501"):
        closed(shop, opened(shop), invoice="501")


@pytest.mark.parametrize(
    "answers",
    [
        CloseAnswers(cause="gremlins", proofs=PROVEN.proofs),
        CloseAnswers(cause="condenser_fan_dead", proofs=[Proof(method="hunch")]),
        CloseAnswers(end="lost"),
    ],
)
def test_an_unknown_key_is_named(shop, answers):
    with pytest.raises(UnknownTermError, match="expected"):
        closed(shop, opened(shop), answers)


def test_a_comeback_with_another_cause_overturns_the_first_case(shop):
    first = closed(shop, opened(shop))
    again = opened(shop, comeback_of=first.id)
    second = closed(shop, again, CloseAnswers(cause="overcharge", proofs=PROVEN.proofs))
    assert standing_of(shop.get(first.id)) is Standing.OVERTURNED
    assert standing_of(second) is Standing.PROVEN


def test_a_comeback_with_the_same_cause_leaves_the_first_case(shop):
    first = closed(shop, opened(shop))
    closed(shop, opened(shop, comeback_of=first.id))
    assert standing_of(shop.get(first.id)) is Standing.PROVEN


def test_readings_taken_again_and_a_declined_safety_repair_are_kept_with_the_close(shop):
    job = opened(shop)
    after = after_sets([(row, row.reading) for row in as_found(job)])
    answers = replace(PROVEN, end="declined", cause="hose_collapsed", after=after, told="the owner")
    case = closed(shop, job, answers)
    assert case == shop.get(case.id)
    assert case.reading_sets == (*job.reading_sets, *after)
    assert case.closing is not None
    (advised,) = case.closing.options
    assert "Told of the danger: the owner." in advised.risk


def test_a_comeback_is_named_at_the_close_and_overturns_the_first_case(shop):
    first = closed(shop, opened(shop))
    second = closed(shop, opened(shop), replace(PROVEN, cause="overcharge", comeback_of=first.id))
    assert second.comeback_of == first.id
    assert standing_of(shop.get(first.id)) is Standing.OVERTURNED


def test_a_job_is_no_comeback_of_itself(shop):
    job = opened(shop)
    with pytest.raises(ConflictError, match="got itself"):
        closed(shop, job, replace(PROVEN, comeback_of=job.id))
    with pytest.raises(NotFoundError):
        closed(shop, job, replace(PROVEN, comeback_of="J404"))
    assert shop.get(job.id).state is JobState.OPEN
