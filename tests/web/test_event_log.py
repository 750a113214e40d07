import json
import os
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, date, datetime, timedelta

import pytest

from kb.workflow.people import choose_secrets, hashed
from kb.workflow.sign_in import TRIES_A_NAME
from tests.web.conftest import QUICK, Browser
from web import event_log
from web.auth import needs
from web.event_log import DAYS_KEPT, Event, EventLog
from web.rights import Right, Role

NOW = datetime(2026, 11, 28, 22, 30, tzinfo=UTC)
PASSWORD = "shop rain lamp"


def lines(folder):
    texts = [path.read_bytes() for path in sorted(folder.glob("*.jsonl"))]
    return [json.loads(line) for text in texts for line in text.splitlines()]


def told(site, event):
    return [line for line in lines(site.home / "log") if line["event"] == event]


@pytest.fixture
def log(tmp_path):
    return EventLog(tmp_path / "log", clock=lambda: NOW)


# --- the file ------------------------------------------------------------------------------------


def test_a_line_is_one_object_with_the_moment_in_utc(log, tmp_path):
    log.note(Event.SIGNED_IN, who="Ines", address=None)
    assert lines(tmp_path / "log") == [
        {"at": "2026-11-28T22:30:00.000+00:00", "event": "signed in", "who": "Ines"}
    ]


def test_the_file_is_the_owners_alone(log, tmp_path):
    log.note(Event.FAULT)
    for path in (tmp_path / "log", *(tmp_path / "log").iterdir()):
        assert path.stat().st_mode & 0o077 == 0


@pytest.mark.source("RFC 8259", "section 7: control characters must be escaped in strings")
def test_no_value_can_end_a_line_or_steer_a_terminal(log, tmp_path):
    hostile = "a\nb\r\x1b[2J\x00\x9b31m\x7f\u202e\u2028\ud800" + "x" * 1000
    log.note(Event.HOST_REFUSED, host=hostile)
    (file,) = (tmp_path / "log").iterdir()
    raw = file.read_bytes()
    assert raw.count(b"\n") == 1
    assert all(32 <= sign < 127 for sign in raw.rstrip(b"\n"))
    assert len(lines(tmp_path / "log")[0]["host"]) <= 200


def test_a_day_has_a_file_and_old_ones_go(tmp_path):
    moments = iter([NOW - timedelta(days=DAYS_KEPT + 1), NOW - timedelta(days=1), NOW])
    log = EventLog(tmp_path, clock=lambda: next(moments))
    (tmp_path / "notes.jsonl").write_text("somebody's own\n")
    for _ in range(3):
        log.note(Event.SIGNED_IN)
    today = date(2026, 11, 28)
    kept = {f"{today}.jsonl", f"{today - timedelta(days=1)}.jsonl", "notes.jsonl"}
    assert {path.name for path in tmp_path.iterdir()} == kept


def test_a_flood_fills_no_disk(log, tmp_path, monkeypatch):
    monkeypatch.setattr(event_log, "MAX_BYTES", 1000)
    for _ in range(100):
        log.note(Event.FORM_REFUSED)
    (file,) = (tmp_path / "log").iterdir()
    assert 1000 <= file.stat().st_size < 1200


def test_lines_of_many_at_once_never_mix(log, tmp_path):
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda n: log.note(Event.SIGNED_IN, who=f"{n}" * 20), range(200)))
    assert len(lines(tmp_path / "log")) == 200


# --- what the pages write ------------------------------------------------------------------------


@pytest.fixture
def ines(site):
    def add(unit):
        person_id = unit.people.add("Ines", "technician")
        choose_secrets(unit, person_id, hashed(PASSWORD, "4711", hasher=QUICK))
        return person_id

    return site.write(add)


def enter(browser, name="Ines", password=PASSWORD):
    page = browser.page("/sign-in")
    token = page.split('name="csrf_token" value="')[1].split('"')[0]
    form = {"csrf_token": token, "name": name, "password": password}
    return browser.client.post("/sign-in", data=form)


def test_who_signs_in_and_out_is_written_down(site, ines):
    browser = site.as_nobody()
    enter(browser)
    (line,) = told(site, "signed in")
    assert line["who"] == "Ines"
    assert (line["by"], line["address"]) == ("password", "127.0.0.1")
    assert (line["method"], line["route"]) == ("POST", "/sign-in")
    browser.send("/sign-out")
    assert [line["who"] for line in told(site, "signed out")] == ["Ines"]


def test_wrong_tries_are_written_down_and_a_name_only_if_it_is_somebodys(site, ines):
    browser = site.as_nobody()
    for _ in range(TRIES_A_NAME + 1):
        enter(browser, name="ines", password="wrong password")
    enter(browser, name="my secret typed here", password="x")
    refused = told(site, "sign-in refused")
    assert [line.get("who") for line in refused] == ["Ines"] * TRIES_A_NAME + [None]
    assert [line["who"] for line in told(site, "sign-in paused after too many tries")] == ["Ines"]


def test_the_log_holds_no_secret(site, ines):
    link = site.with_link()
    enter(site.as_nobody())
    enter(site.as_nobody(), name=PASSWORD, password="hunter2 hunter2")
    site.as_nobody().client.get(f"/sign-in/{link}")
    site.as_nobody().client.get(f"/sign-in/{link}x")
    site.as_role(Role.TECHNICIAN).send("/me/secrets", password="new lamp and rain")
    Browser(site.app, "stolen-token").client.get("/")
    raw = b"".join(path.read_bytes() for path in (site.home / "log").iterdir()).decode()
    for secret in (PASSWORD, "hunter2", link, "new lamp", "stolen-token", site.session):
        assert secret not in raw
    assert told(site, "link refused")[0]["route"] == "/sign-in/<token>"
    assert told(site, "session refused")
    assert told(site, "password, PIN or one-time code changed")[0]["who"] == "the technician"


def test_every_refusal_is_written_down(site):
    viewer = site.as_role(Role.VIEWER)
    viewer.send("/jobs", text="no crank")
    site.client.post("/jobs", data={"text": "no crank"})
    site.client.post("/jobs", data={"text": "x"}, headers={"Origin": "http://evil.example"})
    site.client.get("/", headers={"Host": "evil.example"})
    assert told(site, "refused for the role")[0]["who"] == "the viewer"
    assert told(site, "form without its token refused")[0]["route"] == "/jobs"
    assert told(site, "form from elsewhere refused")[0]["origin"] == "http://evil.example"
    assert told(site, "foreign name refused")[0]["host"] == "evil.example"


def test_the_page_of_a_fault_has_the_number_that_stands_in_the_log(site, monkeypatch):
    @needs(Right.SEE)
    def fail(**_):
        raise RuntimeError("secret inner words")

    monkeypatch.setitem(site.app.view_functions, "cases.show", fail)
    text = site.page("/case/S1", 500)
    (line,) = told(site, "fault")
    assert f"the number {line['id']}" in text
    assert (line["kind"], line["route"]) == ("RuntimeError", "/case/<case_id>")
    assert "secret inner words" not in json.dumps(line)


def test_a_log_that_cannot_be_written_stops_nobody(site, ines, caplog):
    (site.home / "log").write_text("a file where the folder should be")
    assert enter(site.as_nobody()).status_code == 302
    assert "cannot be written" in caplog.text
    assert not os.path.isdir(site.home / "log")
