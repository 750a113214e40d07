from dataclasses import replace

import pytest

from kb.case.model import Proof, Standing
from kb.case.standing import standing_of, standing_reason
from tests.factories import a_closing, a_job


def closed(*methods, **changes):
    proofs = tuple(Proof(method=method) for method in methods)
    return a_job(closing=a_closing(proofs=proofs, **changes))


@pytest.mark.parametrize("method", ["seen", "measured_out", "moved_with_part"])
def test_what_was_seen_measured_or_moved_is_proven(method):
    assert standing_of(closed(method)) is Standing.PROVEN


def test_came_and_went_is_likely_until_it_has_held():
    assert standing_of(closed("came_and_went", held=False)) is Standing.LIKELY
    assert standing_of(closed("came_and_went", held=True)) is Standing.PROVEN


def test_an_inference_stays_unproven_even_when_it_holds():
    assert standing_of(closed("inferred", held=True)) is Standing.UNPROVEN
    assert standing_of(closed()) is Standing.UNPROVEN
    assert standing_of(a_job()) is Standing.UNPROVEN


def test_a_comeback_overturns_whatever_the_proof():
    job = closed("seen", held=True)
    assert job.closing is not None
    assert standing_of(replace(job, closing=replace(job.closing, overturned_by="J2"))) is (
        Standing.OVERTURNED
    )
    assert standing_of(closed("seen", end="comeback_other")) is Standing.OVERTURNED


@pytest.mark.parametrize(
    ("job", "words"),
    [
        (closed("seen"), "the fault itself was seen"),
        (closed("inferred", "measured_out"), "out of its limit"),
        (closed("moved_with_part"), "moved with the part"),
        (closed("came_and_went"), "not always the part"),
        (closed("came_and_went", held=True), "held since"),
        (closed("inferred"), "only inferred"),
        (closed(), "no proof"),
        (closed("seen", overturned_by="J2"), "the cause was another one"),
        (a_job(), "still open"),
    ],
)
def test_the_standing_has_its_reason(job, words):
    assert words in standing_reason(job)
