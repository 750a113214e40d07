from datetime import date

import pytest

from kb.case.model import FixKind, Phase
from tests.factories import a_picture
from tests.web.api.conftest import CLOSING, problem


def closed(program, **changes):
    return program.send("/closings", {"invoice": "R1", **CLOSING, **changes}, key=None)


@pytest.fixture
def job(program):
    return program.opened("cold on the road, warm at lights; vent 68F", invoice="R1")


def test_a_job_is_closed_by_its_invoice_number_and_found_by_the_next_search(site, program, job):
    answer = closed(
        program,
        parts=[{"part": "fan", "supplier": "Northgate"}],
        options=[{"what": "new fan", "kind": "replaced", "price_cents": 41250, "chosen": True}],
        after=[{"quantity": "vent_temp", "value": 44, "unit": "degF"}],
        after_checks=[{"kind": "same_readings", "text": "44 at the same idle"}],
        lesson="Listen first.",
    )
    assert answer.status_code == 201, answer.text
    told = answer.json
    assert (told["job"], told["state"], told["new"]) == (job, "closed", True)
    case = site.get(job)
    assert case.is_case
    assert (case.cause, case.closing.fix) == ("condenser_fan_dead", FixKind.REPLACED)
    assert case.closing.options[0].price_cents == 41250
    assert case.closing.parts[0].supplier == "Northgate"
    assert case.reading_sets[-1].phase is Phase.AFTER
    found = program.told("/find?text=cold+on+the+road,+warm+at+lights")
    assert job in [row["case"] for row in found["matches"]]


def test_the_same_invoice_number_twice_makes_one_case_and_changes_nothing(site, program, job):
    closed(program)
    again = closed(program, cause="overcharge", lesson="Other.")
    assert again.status_code == 200
    assert (again.json["job"], again.json["new"]) == (job, False)
    assert site.get(job).cause == "condenser_fan_dead"
    assert [line.verb for line in site.history(job)] == ["open", "close"]


def test_a_job_that_was_opened_without_the_number_is_named(site, program):
    job = program.opened("noise")
    assert closed(program, job=job).status_code == 201
    assert site.get(job).invoice == "R1"


def test_a_number_that_no_job_has_is_told(program):
    assert "name the job too" in problem(closed(program), 404)["detail"]
    problem(closed(program, job="J404"), 404)


def test_a_number_of_another_job_closes_nothing(site, program, job):
    closed(program)
    other = program.opened("noise")
    told = problem(closed(program, job=other), 409)
    assert f"which closed {job}" in told["detail"]
    assert site.get(other).closing is None


def test_a_job_that_another_number_closed_stays_as_it_is(site, program, job):
    closed(program)
    told = problem(closed(program, invoice="R2", job=job), 409)
    assert "closed already" in told["detail"]
    assert site.get(job).invoice == "R1"


@pytest.mark.parametrize(
    ("changes", "places"),
    [
        ({"cause": None}, [["cause"]]),
        ({"proofs": []}, [["proofs"]]),
        ({"cause": None, "proofs": []}, [["cause"], ["proofs"]]),
        ({"fix": "declined"}, [["end"]]),
        ({"second_cause": "condenser_fan_dead"}, [["second_cause"]]),
        ({"proofs": [{"method": "seen", "photo": "0" * 64}]}, [["proofs.0.photo"]]),
        ({"parts": [{"part": " "}]}, [["parts.0.part"]]),
        ({"after": [{"quantity": "vent_temp", "value": "x", "unit": "degF"}]}, [["after.0"]]),
        ({"options": [{"what": "a", "chosen": True}] * 2}, [["options"]]),
        ({"cause": "nonsense"}, []),
        ({"end": "nonsense"}, []),
        ({"proofs": [{"method": "nonsense"}]}, []),
        ({"after_checks": [{"kind": "nonsense"}]}, []),
        ({"until": "2020-01-01", "end": "workaround"}, []),
        ({"until": "2199-01-01"}, []),
    ],
)
def test_what_cannot_be_a_case_is_refused_by_place_and_the_job_stays_open(
    site, program, job, changes, places
):
    told = problem(closed(program, **changes), 422)
    assert [row["loc"] for row in told["errors"]] == places
    assert "--" not in told["detail"]
    assert site.get(job).closing is None


def test_an_end_that_names_no_cause_needs_none(site, program, job):
    answer = closed(program, end="no_fault_found", cause=None, proofs=[], fix=None)
    assert answer.status_code == 201, answer.text
    assert not site.get(job).is_case


def test_a_proof_shows_a_photo_of_the_job(site, program, job):
    kept = program.send(f"/jobs/{job}/photos", data=a_picture(), content_type="image/jpeg").json
    proof = {"method": "seen", "text": "see there", "photo": kept["photo"]}
    assert closed(program, proofs=[proof]).status_code == 201
    assert site.get(job).closing.proofs[0].photo == kept["photo"]


def test_a_comeback_with_another_cause_overturns_its_first_case(site, program):
    program.opened("warm at lights", invoice="R1")
    assert closed(program, cause="overcharge", comeback_of="S1").status_code == 201
    assert site.get("S1").closing.overturned_by is not None


def test_what_was_said_before_the_cause_was_told_is_kept_for_the_week(site, program, job):
    site.app.extensions["baybook"].fitted()
    closed(program)
    with site.store.read() as unit:
        assert job in unit.answers.closed(date(2000, 1, 1), date(2199, 1, 1))
