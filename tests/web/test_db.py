import re
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from io import BytesIO

import pytest

from kb.errors import StoreError
from tests.factories import a_picture
from web import db
from web.auth import COOKIE
from web.rights import Role


def test_the_memory_of_a_running_program_holds_the_closed_jobs(site):
    with site.app.app_context():
        assert db.memory().size() == 3
        assert db.words() is db.memory().words
        assert db.store() is db.memory().store
        assert isinstance(db.today(), date)


def test_what_one_request_writes_is_kept_whole_or_not_at_all(site):
    cookie = {"Cookie": f"{COOKIE}={site.session}"}
    with site.app.test_request_context("/", method="POST", headers=cookie):
        site.app.preprocess_request()
        with db.writing() as unit:
            first = unit.jobs.next_id()
        with pytest.raises(StoreError, match="one write unit"), db.writing(), db.writing():
            pass
        with db.writing() as unit:
            assert unit.jobs.next_id() != first


def test_a_write_from_a_page_stands_under_the_name_of_who_is_signed_in(site):
    job = site.opened()
    (line,) = site.history(job)
    assert (line.who, line.verb) == ("shop", "open")
    site.as_role(Role.ADVISOR).send(f"/job/{job}/wait", waits_for="a fan motor")
    assert [line.who for line in site.history(job)] == ["shop", "the advisor"]


def test_the_altitude_of_the_settings_reaches_the_answers(site):
    assert site.app.extensions["baybook"].altitude_m == 0.0


def test_a_form_sent_twice_is_one_record_and_lands_at_the_same_job(site):
    form = {"text": "no crank", "action": "open", "form_id": "a" * 32}
    first, second = site.send("/jobs", **form), site.send("/jobs", **form)
    assert first.location == second.location
    job = first.location.rsplit("/", 1)[1]
    added = {"text": "batt 12.1 V", "form_id": "b" * 32}
    for _ in range(2):
        assert site.send(f"/job/{job}/add", **added).location == f"/job/{job}"
    assert site.get(job).lines == ("no crank", "batt 12.1 V")
    with site.store.read() as unit:
        assert len(unit.jobs.open_jobs()) == 1


def test_a_form_sent_many_times_at_once_is_one_record(site):
    form = {"csrf_token": site.token(), "text": "no crank", "action": "open", "form_id": "a" * 32}

    def send(_):
        client = site.app.test_client()
        for name in (COOKIE, "baybook_forms"):
            client.set_cookie(name, site.client.get_cookie(name).value)
        return client.post("/jobs", data=form).location

    with ThreadPoolExecutor(6) as pool:
        assert len(set(pool.map(send, range(6)))) == 1
    with site.store.read() as unit:
        assert len(unit.jobs.open_jobs()) == 1


def test_somebody_elses_form_number_tells_nothing_and_swallows_nothing(site):
    theirs = site.opened("no crank", form_id="a" * 32)
    ines = site.as_role(Role.TECHNICIAN)
    answer = ines.send("/jobs", text="batt 12.1 V", action="open", form_id="a" * 32)
    assert answer.status_code == 409
    assert "Somebody else sent that form already" in answer.text
    assert theirs not in answer.text
    assert "batt 12.1 V" in answer.text
    # The button sends it under a number of its own.
    fields = dict(re.findall(r'name="(\w+)" value="([^"]*)"', answer.text))
    assert fields["form_id"] != "a" * 32
    assert fields["csrf_token"]
    mine = ines.client.post("/jobs", data=fields).location.rsplit("/", 1)[1]
    assert mine != theirs
    assert site.get(mine).lines == ("batt 12.1 V",)


@pytest.mark.parametrize("revision", ["9" * 5000, "-1", "²", "1e9"])
def test_a_revision_that_is_none_is_no_fault(site, revision):
    job = site.opened()
    answer = site.send(f"/job/{job}/wait", waits_for="a part", revision=revision)
    assert answer.status_code == 302


@pytest.mark.parametrize(
    ("path", "field"),
    [
        ("wait", "waits_for"), ("vehicle", "make"), ("vehicle", "vin"), ("tried", "part"),
        ("complaint", "first_seen"), ("photo", "caption"), ("add", "text"), ("wait", "revision"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("value", ["a\0b", "x" * 20_001])
def test_what_no_store_should_keep_is_refused_whatever_the_field(site, path, field, value):
    job = site.opened()
    form = {"photo": (BytesIO(a_picture()), "p.jpg"), field: value}
    answer = site.send(f"/job/{job}/{path}", **form)
    assert answer.status_code == 400
    assert "cannot be stored" in answer.text or "at most 20000 characters" in answer.text
    assert len(site.history(job)) == 1


@pytest.mark.parametrize(
    "path", ["/job/a%00b", "/find?q=a%00b", "/find?vehicle=%00", "/answers?q=%00", "/sent/%00",
             "/photo/%00", "/words?q=%00", "/static/%00", "/find?a%00=b"],
)  # fmt: skip
def test_an_address_with_a_sign_that_no_database_takes_is_refused(site, path):
    answer = site.client.get(path)
    assert answer.status_code == 400
    assert "cannot be stored" in answer.text
    answer.close()


def test_a_form_that_was_refused_can_be_sent_again_under_its_number(site):
    job = site.opened()
    assert site.send(f"/job/{job}/add", text=" ", form_id="c" * 32).status_code == 400
    assert site.send(f"/job/{job}/add", text="no crank", form_id="c" * 32).status_code == 302
    assert site.get(job).lines[-1] == "no crank"


def test_two_people_on_one_job_see_the_others_change_beside_their_own(site):
    job = site.opened()
    site.send(f"/job/{job}/wait", waits_for="a fan motor")
    answer = site.send(f"/job/{job}/wait", waits_for="the owner's word", revision="1")
    assert answer.status_code == 409
    for part in ("a fan motor", "the owner&#39;s word", 'name="revision" value="2"'):
        assert part in answer.text
    assert site.get(job).waits_for == "a fan motor"
    site.send(f"/job/{job}/wait", waits_for="the owner's word", revision="2")
    assert site.get(job).waits_for == "the owner's word"


def test_the_last_write_is_taken_back_and_its_text_stands_in_the_box_again(site):
    job = site.opened()
    site.send(f"/job/{job}/add", text="hi 318 psi")
    answer = site.send(f"/job/{job}/undo")
    assert answer.status_code == 302
    assert ">hi 318 psi</textarea>" in site.page(answer.location)
    assert "hi 318 psi" not in site.page(f"/job/{job}")
    assert site.get(job).reading_sets == ()
    again = site.send(f"/job/{job}/undo")
    assert (again.status_code, again.location) == (302, f"/job/{job}")
    assert site.get(job).lines[-1] == "hi 318 psi"
    # Whoever comes late to the first address finds no text in the box that stands in the job.
    assert ">hi 318 psi</textarea>" not in site.page(answer.location)
