import pytest

from kb.case.model import Code, Phase, Scan
from tests.factories import a_full_case, a_picture
from tests.web.api.conftest import problem
from web.api.jobs import MAX_PHOTO_BYTES

VEHICLE = {
    "year": 2016,
    "make": "Pellarin",
    "model": "Copse",
    "engine": "P20P",
    "vin": "1m8gdm9axkp042788",
    "odometer": 88_000,
}


def refused(program, path, body, *, place=None):
    """Return the words of a refusal, and see that nothing was written."""
    job = program.opened()
    told = problem(program.send(path.format(job=job), body), 422)
    assert program.told(f"/jobs/{job}")["revision"] == 1
    if place is not None:
        assert [place] in [row["loc"] for row in told["errors"]]
    return told["detail"]


def test_a_job_is_opened_with_all_that_is_known_of_it(site, program):
    answer = program.send(
        "/jobs",
        {
            "text": "cold on the road, warm at lights; lo 58 psi qwxz",
            "said": "Blows warm.",
            "vehicle": VEHICLE,
            "invoice": "R-17",
            "comeback_of": "S1",
        },
    )
    assert answer.status_code == 201
    told = answer.json
    job = site.get(told["job"])
    assert answer.headers["Location"] == f"/api/v1/jobs/{job.id}"
    assert (told["state"], told["revision"], told["new"]) == ("open", 1, True)
    assert told["asked"]["readings"][0]["quantity"] == "low_side_pressure"
    assert "qwxz" in told["asked"]["unread"]
    assert (job.invoice, job.comeback_of, job.complaint.said) == ("R-17", "S1", "Blows warm.")
    car = job.vehicle
    assert (car.year, car.make, car.vin) == (2016, "Pellarin", "1M8GDM9AXKP042788")
    assert (car.odometer, car.odometer_unit) == (88_000, "mi")


def test_a_comeback_of_no_job_is_told(program):
    answer = program.send("/jobs", {"text": "noise", "comeback_of": "J404"})
    assert "J404" in problem(answer, 404)["detail"]
    assert program.told("/jobs") == {"jobs": []}


def test_open_jobs_are_listed_and_one_is_found_by_its_invoice_number(program):
    first = program.opened("no crank", vehicle={"make": "Pellarin", "model": "Copse"})
    second = program.opened("noise", invoice="R 17/2")
    rows = program.told("/jobs")["jobs"]
    assert [row["job"] for row in rows] == [first, second]
    assert (rows[0]["vehicle"], rows[0]["cause"]) == ("Pellarin Copse", None)
    assert program.told("/jobs?invoice=R+17%2F2")["jobs"] == rows[1:]
    assert program.told("/jobs?invoice=R99")["jobs"] == []


def test_a_job_is_told_whole(site, program):
    job = a_full_case("S9")
    site.put(job)
    whole = program.told("/jobs/S9")
    told = whole["job"]
    assert (whole["revision"], whole["standing"], whole["photos"]) == (1, "overturned", [])
    assert (told["job"], told["state"], told["invoice"]) == ("S9", "closed", "INV-S9")
    (first, _) = told["reading_sets"]
    assert first["finding"] == 0
    assert first["readings"][0]["value"] == job.reading_sets[0].readings[0].typed
    assert told["tried"] == [
        {"part": "fan relay", "text": "no change", "cost_cents": 1895, "minutes": 10.0}
    ]
    closing = told["closing"]
    assert (closing["cause"], closing["until"]) == ("condenser_fan_dead", "2026-09-30")
    assert closing["options"][0]["price_cents"] == 41250
    # Every value of the model is told, under its own name or the one of the answers.
    renamed = {"id"}
    assert set(told) == {name for name in job.__slots__ if name not in renamed | {"fields"}} | {
        "job"
    }
    assert job.closing is not None
    assert set(closing) == set(job.closing.__slots__)


def test_answers_of_an_open_job_have_the_names_of_the_terminal(program):
    job = program.opened("no crank, no click")
    told = program.told(f"/jobs/{job}/answers?top=1")
    assert {"asked", "matches", "causes", "checks", "nothing_like_it"} <= set(told)
    assert [row["case"] for row in told["matches"]] == ["S3"]
    assert told["asked"]["text"] == "no crank, no click"
    problem(program.get("/jobs/J404/answers"), 404)


def test_a_text_is_read_as_if_it_had_been_typed(site, program):
    job = program.opened("no crank")
    told = program.send(f"/jobs/{job}/texts", {"text": "batt 12.1 V rest"}).json
    assert (told["job"], told["revision"]) == (job, 2)
    assert told["asked"]["readings"][0]["unit"] == "V"
    assert site.get(job).lines == ("no crank", "batt 12.1 V rest")


@pytest.mark.parametrize("value", ["61", 61, 61.0])
def test_readings_are_kept_as_one_set(site, program, value):
    job = program.opened()
    body = {
        "phase": "after",
        "state": ["at_idle"],
        "readings": [
            {"quantity": "vent_temp", "value": value, "unit": "degF", "position": " left  front "},
            {"quantity": "low_side_pressure", "value": "30-35", "unit": "psi"},
        ],
    }
    assert program.send(f"/jobs/{job}/readings", body).status_code == 201
    (group,) = site.get(job).reading_sets
    assert (group.phase, group.state) == (Phase.AFTER, ("at_idle",))
    vent, low = group.readings
    assert (vent.typed, vent.unit, vent.position) == ("61", "degF", "left front")
    assert vent.canonical == pytest.approx(16.111, abs=1e-3)
    assert (low.typed, low.word) == ("30-35", None)


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ({"quantity": "nonsense"}, "nonsense"),
        ({"unit": "psi"}, "psi"),
        ({"unit": "furlong"}, "furlong"),
        ({"value": "warm"}, "warm"),
        ({"value": 9000}, "9000"),
        ({"value": 1e-300}, "expected"),
        ({"position": "x" * 81}, "at most 80"),
        ({"position": "a\u202eb"}, "cannot be shown"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_by_its_place(program, row, said):
    good = {"quantity": "vent_temp", "value": 61, "unit": "degF"}
    body = {"readings": [good, good | row]}
    assert said in refused(program, "/jobs/{job}/readings", body, place="readings.1")


def test_a_condition_that_nobody_knows_is_refused(program):
    body = {
        "state": ["in_space"],
        "readings": [{"quantity": "vent_temp", "value": 61, "unit": "degF"}],
    }
    assert "in_space" in refused(program, "/jobs/{job}/readings", body, place="state")


def test_a_finding_is_kept_with_its_minutes(site, program):
    job = program.opened()
    body = {"check": "condenser_air_boost", "outcome": "no_change", "minutes": 6, "repeats": 2}
    program.send(f"/jobs/{job}/findings", body | {"note": "hose on it"})
    (row,) = site.get(job).findings
    assert (row.check, row.outcome, row.minutes) == ("condenser_air_boost", "no_change", 6)
    assert (row.repeats, row.note, row.subject) == (2, "hose on it", None)


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ({"check": "nonsense", "outcome": "no_change"}, "nonsense"),
        ({"check": "condenser_air_boost", "outcome": "over"}, "expected one of"),
        ({"check": "look_over", "outcome": "fault_seen"}, "expected which part"),
    ],
)
def test_a_finding_that_cannot_be_is_refused(program, body, said):
    assert said in refused(program, "/jobs/{job}/findings", body)


def test_codes_are_kept_with_module_and_status(site, program):
    job = program.opened()
    rows = [{"code": "P0301", "module": "ECM", "status": "stored"}, {"code": "U0121-00"}]
    assert program.send(f"/jobs/{job}/codes", {"codes": rows}).status_code == 201
    assert site.get(job).codes == (
        Code(code="P0301", module="ECM", status="stored"),
        Code(code="U0121-00"),
    )
    assert site.get(job).scan == Scan(none_found=False, modules=("ECM",))


def test_no_codes_is_a_fact_of_its_own(site, program):
    job = program.opened()
    program.send(f"/jobs/{job}/codes", {"codes": [], "modules": ["ECM", "BCM"]})
    assert site.get(job).scan == Scan(none_found=True, modules=("ECM", "BCM"))


@pytest.mark.parametrize("path", ["texts", "readings", "findings", "codes"])
def test_nothing_is_added_to_a_closed_job_or_to_none(program, path):
    bodies = {
        "texts": {"text": "noise"},
        "readings": {"readings": [{"quantity": "vent_temp", "value": 61, "unit": "degF"}]},
        "findings": {"check": "condenser_air_boost", "outcome": "no_change"},
        "codes": {"codes": []},
    }
    closed = problem(program.send(f"/jobs/S1/{path}", bodies[path]), 409)
    assert "S1, which is closed" in closed["detail"]
    problem(program.send(f"/jobs/J404/{path}", bodies[path]), 404)


def test_a_photo_is_kept_without_where_it_was_taken_and_told_again(site, program):
    job = program.opened()
    answer = program.send(
        f"/jobs/{job}/photos?caption=the+fan", data=a_picture("PNG"), content_type="image/png"
    )
    assert answer.status_code == 201
    told = answer.json
    (row,) = program.told(f"/jobs/{job}")["photos"]
    assert row == {"photo": told["photo"], "caption": "the fan"}
    picture = program.get(answer.headers["Location"].removeprefix("/api/v1"))
    assert picture.content_type == "image/jpeg"
    assert picture.data.startswith(b"\xff\xd8")
    problem(program.get("/photos/" + "0" * 64), 404)
    problem(program.get("/photos/..%2fform.key"), 404)


@pytest.mark.parametrize(
    ("data", "kind", "status"),
    [
        (b"", "image/jpeg", 422),
        (b"GIF89a", "image/jpeg", 422),
        (a_picture()[:200], "image/jpeg", 422),
        (a_picture(), "image/gif", 415),
        (a_picture(), "application/json", 415),
        (b"x" * (MAX_PHOTO_BYTES + 1), "image/jpeg", 413),
    ],
)
def test_what_is_no_picture_is_refused(standing, data, kind, status):
    answer = standing.send("/jobs/S1/photos", data=data, content_type=kind)
    problem(answer, status)
    assert standing.told("/jobs/S1")["photos"] == []
