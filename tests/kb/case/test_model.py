from dataclasses import FrozenInstanceError

import pytest

from kb.case.model import Proof
from tests.factories import a_closing, a_job


def test_a_value_cannot_be_changed_in_place():
    job = a_job()
    with pytest.raises(FrozenInstanceError):
        job.system = "brakes"  # type: ignore[misc]


def test_a_case_needs_a_cause_and_a_proof():
    proof = (Proof(method="seen"),)
    assert a_job(closing=a_closing(proofs=proof)).is_case
    assert not a_job(closing=a_closing(proofs=())).is_case
    assert not a_job(closing=a_closing(cause=None, proofs=proof)).is_case
    assert not a_job().is_case


def test_an_open_job_has_no_cause():
    assert a_job().cause is None
    assert a_job(closing=a_closing()).cause == "condenser_fan_dead"
