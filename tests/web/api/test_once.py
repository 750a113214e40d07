from concurrent.futures import ThreadPoolExecutor
from functools import partial

import pytest

from tests.factories import a_picture
from tests.web.api.conftest import CLOSING, Program, problem
from web.auth import COOKIE

JSON = "application/json"
TEXT = {"text": "no crank, no click"}


def jobs(site):
    with site.store.read() as unit:
        return unit.jobs.open_jobs()


def test_the_same_key_with_the_same_body_is_one_record_and_one_answer(site, program):
    first = program.send("/jobs", TEXT, key="k")
    program.send(f"/jobs/{first.json['job']}/texts", {"text": "batt 12.1 V"})
    again = program.send("/jobs", TEXT, key="k")
    assert (again.status_code, again.json) == (first.status_code, first.json)
    assert again.headers["Location"] == first.headers["Location"]
    assert again.content_type == first.content_type
    (job,) = jobs(site)
    assert job.lines == ("no crank, no click", "batt 12.1 V")


@pytest.mark.parametrize("body", [{"text": "no crank"}, {**TEXT, "said": "It is dead."}])
def test_the_same_key_with_another_body_is_refused(site, program, body):
    program.send("/jobs", TEXT, key="k")
    told = problem(program.send("/jobs", body, key="k"), 422)
    assert "same body under the same Idempotency-Key" in told["detail"]
    assert len(jobs(site)) == 1


def test_the_same_key_at_another_address_is_refused(site, program):
    one, other = program.opened(), program.opened("no crank")
    program.send(f"/jobs/{one}/texts", TEXT, key="k")
    problem(program.send(f"/jobs/{other}/texts", TEXT, key="k"), 422)
    assert len(site.get(other).lines) == 1


def test_how_a_body_is_written_does_not_matter(site, program):
    program.send("/jobs", data=b'{"text":"no crank","said":""}', key="k", content_type=JSON)
    program.send("/jobs", data=b'{ "text" : "no crank" }', key="k", content_type=JSON)
    assert len(jobs(site)) == 1


def test_a_key_is_a_programs_own(site, program):
    other = Program(site, name="phones")
    assert program.send("/jobs", TEXT, key="k").json != other.send("/jobs", TEXT, key="k").json
    assert len(jobs(site)) == 2


def test_a_key_still_holds_after_the_program_got_a_new_token(site, program):
    first = program.send("/jobs", TEXT, key="k")
    site.write(lambda unit: unit.tokens.revoke(program.made.stored.id))
    assert Program(site).send("/jobs", TEXT, key="k").json == first.json
    assert len(jobs(site)) == 1


def test_what_was_refused_keeps_no_key(site, program):
    job = program.opened()
    wrong = {"check": "condenser_air_boost", "outcome": "nonsense"}
    problem(program.send(f"/jobs/{job}/findings", wrong, key="k"), 422)
    right = wrong | {"outcome": "no_change"}
    answer = program.send(f"/jobs/{job}/findings", right, key="k")
    assert answer.status_code == 201, answer.text
    assert len(site.get(job).findings) == 1


@pytest.mark.parametrize("path", ["/jobs", "/jobs/{job}/texts", "/jobs/{job}/readings"])
def test_a_write_without_a_key_is_refused(site, program, path):
    job = program.opened()
    bodies = {"readings": {"readings": [{"quantity": "vent_temp", "value": 61, "unit": "degF"}]}}
    body = bodies.get(path.rsplit("/", 1)[1], TEXT)
    told = problem(program.send(path.format(job=job), body, key=None), 400)
    assert "send one of your own making" in told["detail"]
    assert len(jobs(site)) == 1
    assert site.get(job).reading_sets == ()


@pytest.mark.parametrize("key", [" ", "x" * 101, "ä", "a\tb", "a b"])
def test_what_is_no_key_is_refused(site, program, key):
    problem(program.send("/jobs", TEXT, key=key), 400)
    assert jobs(site) == ()


def test_an_invoice_number_needs_no_key(site, program):
    first = program.send("/jobs", {**TEXT, "invoice": "R-17"}, key=None)
    again = program.send("/jobs", {**TEXT, "invoice": "R-17"}, key=None)
    assert (first.status_code, again.status_code) == (201, 200)
    assert (first.json["new"], again.json["new"]) == (True, False)
    assert first.json["job"] == again.json["job"]
    assert len(jobs(site)) == 1


def test_the_same_photo_under_the_same_key_is_one(site, program):
    job = program.opened()
    told = [
        program.send(
            f"/jobs/{job}/photos?caption=fan", data=a_picture(), key="k", content_type="image/jpeg"
        )
        for _ in range(2)
    ]
    assert told[0].json == told[1].json
    with site.store.read() as unit:
        assert len(unit.photos.of(job)) == 1
    other = program.send(
        f"/jobs/{job}/photos?caption=belt", data=a_picture(), key="k", content_type="image/jpeg"
    )
    problem(other, 422)


def test_a_key_is_never_taken_for_the_number_of_a_form(site, program):
    program.send("/jobs", TEXT, key="a" * 32)
    assert site.client.get("/sent/" + "a" * 32).status_code == 404
    assert site.send("/jobs", text="no crank", action="open", form_id="a" * 32).status_code == 302
    assert len(jobs(site)) == 2


def many(tasks, threads=8):
    """Do all at once and return what each was answered."""
    with ThreadPoolExecutor(threads) as pool:
        return [done.result() for done in [pool.submit(task) for task in tasks]]


class Senders:
    """Sends records as a program and as a form, each time over another connection."""

    def __init__(self, site, program):
        site.app.config["WTF_CSRF_ENABLED"] = False
        self.site, self.program = site, program

    def by_program(self, path, body, key=None):
        head = self.program.head | ({"Idempotency-Key": key} if key else {})
        client = self.site.app.test_client()
        return client.post("/api/v1" + path, json=body, headers=head).status_code

    def by_form(self, number, **form):
        client = self.site.app.test_client()
        client.set_cookie(COOKIE, self.site.session)
        sent = {"form_id": f"{number:032x}", "action": "open", **form}
        return client.post("/jobs", data=sent).status_code


@pytest.mark.slow
def test_records_sent_twice_at_once_by_programs_and_forms_are_one_each(site, program):
    senders, tasks, records = Senders(site, program), [], 15
    for number in range(records):
        body = {"text": f"no crank {number}"}
        tasks += [partial(senders.by_program, "/jobs", body, f"k{number}")] * 2
        tasks += [partial(senders.by_form, number, text=f"warm {number}")] * 2
        # The same invoice number by both ways, each form with a number of its own.
        body = {"text": "noise", "invoice": f"R{number}"}
        tasks.append(partial(senders.by_program, "/jobs", body))
        tasks.append(partial(senders.by_form, 10**6 + number, **body))
    assert set(many(tasks)) <= {200, 201, 302}
    found = jobs(site)
    assert len(found) == 3 * records
    assert len({(job.lines, job.invoice) for job in found}) == 3 * records


@pytest.mark.slow
def test_a_job_closed_many_times_at_once_is_one_case(site, program):
    job = program.opened(invoice="R1")
    senders, body = Senders(site, program), {"invoice": "R1", **CLOSING}
    told = many([partial(senders.by_program, "/closings", body, key) for key in [None, "k"] * 8])
    assert set(told) <= {200, 201}
    assert [line.verb for line in site.history(job)] == ["open", "close"]
