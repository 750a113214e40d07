import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from kb.case.model import Finding, JobState
from kb.case.parse import parse_again
from kb.workflow.jobs import MAX_TEXT
from tests.web.conftest import shown

EVIL = "<script>alert('x')</script>\"><b>"
CLOSE = {
    "end": "fixed",
    "cause": "condenser_fan_dead",
    "method": "seen",
    "proof_text": "blades stand still at 12.4 V",
    "fix": "replaced",
    "fix_text": "fan assembly",
    "option_1": "new fan",
    "price_1": "$412.00",
    "remains_1": "nothing",
    "option_2": "used fan",
    "price_2": "238",
    "chosen": "1",
    "after_kind": "same_readings",
    "after_text": "hi 209 psi",
    "lesson": "Listen first.",
    "invoice": "501",
}


def marked(text, field):
    """Return whether a message stands at the field and the field points to it."""
    return f'aria-describedby="{field}-error"' in text and f'id="{field}-error"' in text


def test_a_text_is_read_before_others_wait_for_its_write(site, monkeypatch):
    seen = []

    def read(text, *, words):
        # A write inside of another one is refused.
        with site.app.extensions["baybook"].store.write("Ana", datetime.now(UTC)) as unit:
            unit.history.add("look", None, "")
        seen.append(text)
        return parse_again(text, words=words)

    def late(text, **known):
        raise AssertionError(f"expected {text!r} to be read before the write")

    monkeypatch.setattr("web.jobs.parse_again", read)
    monkeypatch.setattr("kb.workflow.jobs.parse_again", late)
    job = site.opened("no crank, one click")
    site.send(f"/job/{job}/add", text="vent 68F")
    assert seen == ["no crank, one click", "vent 68F"]
    assert site.get(job).lines == tuple(seen)
    assert [row.typed for group in site.get(job).reading_sets for row in group.readings] == ["68"]


# --- the whole way -------------------------------------------------------------------------------


def test_a_job_goes_from_today_to_a_case_that_the_very_next_search_finds(site):
    job = site.opened(
        "zorble at the frunk, warm at lights", said="It zorbles.", vehicle="2016 Pellarin Copse"
    )
    assert job in site.page("/")

    text = site.page(f"/job/{job}")
    for part in (
        "It zorbles.",
        "2016 Pellarin Copse",
        "Likely causes",
        "Next check",
        "Seen before",
    ):
        assert part in text

    added = site.send(f"/job/{job}/add", text="hi 318 psi\r\nlow 58 psi")
    assert added.status_code == 302
    assert "318 psi" in site.page(f"/job/{job}")
    assert site.get(job).lines[-1] == "hi 318 psi\nlow 58 psi"

    unproven = {**CLOSE, "method": "", "proof_text": ""}
    refused = site.send(f"/job/{job}/close", **unproven)
    assert refused.status_code == 400
    assert marked(refused.text, "method")
    assert not marked(refused.text, "cause")
    for kept in ("fan assembly", "$412.00", "hi 209 psi", "Listen first.", 'value="501"'):
        assert kept in refused.text
    assert 'value="condenser_fan_dead" checked' in refused.text
    assert site.get(job).state is JobState.OPEN

    closed = site.send(f"/job/{job}/close", **CLOSE)
    assert (closed.status_code, closed.location) == (302, f"/case/{job}")
    assert "Condenser fan or one speed dead" in site.page(f"/case/{job}")
    assert f'href="/case/{job}"' in site.page("/find?q=zorble")
    assert job not in site.page("/")


# --- today ---------------------------------------------------------------------------------------


def test_a_job_shows_the_look_that_is_due_and_checks_in_any_order(site):
    text = site.page(f"/job/{site.opened('cold on the road, warm at lights; hi 318 low 58')}")
    assert "Go and look: " in text
    assert "proves it" in text
    assert "Answer them in any order" in text
    assert "No listed check will settle this" not in text


def test_a_job_on_which_every_check_is_done_says_that_none_will_settle_it(site):
    job = site.opened("cold on the road, warm at lights")
    every = tuple(
        Finding(check=key, outcome=row.outcomes[0]) for key, row in site.words.checks.items()
    )
    site.write(lambda unit: unit.jobs.save(replace(unit.jobs.get(job), findings=every), verb="add"))
    text = site.page(f"/job/{job}")
    assert "No listed check will settle this" in text
    assert 'class="check"' not in text


def test_today_without_an_open_job_says_so(site):
    assert "No open job." in site.page("/")


def test_find_only_opens_no_job(site):
    answer = site.send("/jobs", text="no crank", vehicle="2016 Pellarin", action="find")
    assert answer.status_code == 302
    assert answer.location == "/find?q=no+crank&vehicle=2016+Pellarin"
    assert "No open job." in site.page("/")


@pytest.mark.parametrize("text", ["", "  ", "x" * (MAX_TEXT + 1)])
def test_a_text_that_cannot_open_a_job_keeps_what_was_typed(site, text):
    answer = site.send("/jobs", text=text, said="It is dead.", vehicle="2016 Pellarin", invoice="7")
    assert answer.status_code == 400
    assert marked(answer.text, "text")
    for kept in ("It is dead.", "2016 Pellarin", 'value="7"'):
        assert kept in answer.text
    assert "No open job." in answer.text


def test_the_same_job_sent_twice_is_one_job(site):
    assert site.opened(invoice="7") == site.opened(invoice="7")


def test_a_number_of_another_job_loses_nothing_that_was_typed(site):
    first = site.opened(invoice="7")
    answer = site.send("/jobs", text="no crank at all", invoice="7")
    assert answer.status_code == 409
    assert marked(answer.text, "invoice")
    assert f'href="/job/{first}"' in answer.text
    assert "no crank at all" in answer.text


# --- an open job ---------------------------------------------------------------------------------


def test_what_could_not_be_read_is_shown_on_the_job(site):
    job = site.opened("no crank; vent 900F; volts 9")
    text = site.page(f"/job/{job}")
    assert "got 900 °F" in text
    assert "<q>volts 9</q>" in text
    assert "Say again" not in site.page(f"/job/{site.opened('no crank')}")


def test_an_empty_entry_is_refused_at_the_field(site):
    job = site.opened()
    answer = site.send(f"/job/{job}/add", text=" ")
    assert answer.status_code == 400
    assert marked(answer.text, "text")


def test_a_closed_job_takes_no_more_text_but_shows_it_again(site):
    job = site.opened()
    site.send(f"/job/{job}/close", **CLOSE)
    answer = site.send(f"/job/{job}/add", text="one thing more")
    assert answer.status_code == 409
    assert "one thing more" in answer.text
    assert "closed" in answer.text


def test_a_closed_job_leads_to_its_case(site):
    for path in ("/job/S1", "/job/S1/close"):
        answer = site.client.get(path)
        assert (answer.status_code, answer.location) == (302, "/case/S1")


def test_a_job_waits_for_one_thing_and_is_taken_up_again(site):
    job = site.opened()
    site.send(f"/job/{job}/wait", waits_for="the fan, Tuesday")
    assert "waits for the fan, Tuesday" in site.page("/")
    site.send(f"/job/{job}/wait", waits_for="")
    assert "waits for the fan" not in site.page("/")


def test_a_closed_job_cannot_wait(site):
    assert site.send("/job/S1/wait", waits_for="x").status_code == 409


def test_the_vehicle_is_set_with_its_units(site):
    job = site.opened(vehicle="2016 Pellarin Copse P20P")
    text = site.page(f"/job/{job}")
    form = dict(re.findall(r'<input id="(\w+)" name="\w+" value="([^"]*)">', text))
    answer = site.send(
        f"/job/{job}/vehicle", **form | {"odometer": "71,200", "odometer_unit": "km", "vin": "X1"}
    )
    assert answer.status_code == 302
    vehicle = site.get(job).vehicle
    assert (vehicle.year, vehicle.engine, vehicle.vin) == (2016, "P20P", "X1")
    assert (vehicle.odometer, vehicle.odometer_unit) == (71200, "km")
    again = site.page(f"/job/{job}")
    assert 'value="71200"' in again
    assert 'value="km" selected' in again
    assert 'value="X1"' in again


def test_a_vehicle_with_words_for_numbers_keeps_what_was_typed(site):
    job = site.opened()
    answer = site.send(f"/job/{job}/vehicle", year="old", make="Pellarin")
    assert answer.status_code == 400
    assert "four digits" in answer.text
    for kept in ('value="old"', 'value="Pellarin"', "<details open><summary>Vehicle"):
        assert kept in answer.text


@pytest.mark.parametrize("odometer", ["9" * 5000, "12345678", "1e5", "²"])
def test_an_odometer_that_no_car_shows_is_refused_at_the_form(site, odometer):
    job = site.opened()
    answer = site.send(f"/job/{job}/vehicle", make="Pellarin", odometer=odometer)
    assert answer.status_code == 400
    assert "at most 7 digits" in answer.text
    assert site.get(job).vehicle.odometer is None


def test_the_vehicle_of_a_closed_job_stays(site):
    assert site.send("/job/S1/vehicle", year="2016").status_code == 409


def test_a_shop_without_a_case_shows_the_job_and_says_when_answers_come(site):
    def empty(unit):
        unit.connection.exec_driver_sql("DELETE FROM jobs")
        unit.jobs.written = True

    site.write(empty)
    job = site.opened()
    assert "No closed job yet" in site.page(f"/job/{job}")
    site.page(f"/job/{job}/close")


# --- what was typed never runs -------------------------------------------------------------------


def test_script_in_every_field_comes_back_escaped(site):
    job = site.opened(EVIL, said=EVIL, vehicle=f"2016 {EVIL}", invoice=EVIL)
    site.send(f"/job/{job}/add", text=EVIL)
    site.send(f"/job/{job}/wait", waits_for=EVIL)
    site.send(f"/job/{job}/vehicle", **dict.fromkeys(["make", "model", "engine", "vin"], EVIL))
    evil = {key: EVIL for key in CLOSE if key.startswith(("proof_", "fix_", "rem", "after_t"))}
    pages = [site.page("/"), site.page(f"/job/{job}"), site.page(f"/job/{job}/close")]
    pages.append(site.send(f"/job/{job}/close", **dict.fromkeys(CLOSE, EVIL)).text)
    form = CLOSE | evil | {"option_1": EVIL, "lesson": EVIL, "invoice": EVIL}
    assert site.send(f"/job/{job}/close", **form).status_code == 302
    pages += [site.page(f"/case/{job}"), site.page("/find?q=script")]
    pages.append(site.send(f"/job/{job}/vehicle", year=EVIL).text)
    for text in pages:
        assert "<script" not in shown(text)
        assert '"><b>' not in text
    assert all("&lt;script&gt;" in text for text in pages[:5])


# --- today ---------------------------------------------------------------------------------------


def test_today_lists_the_oldest_job_first_with_what_it_waits_for_and_for_how_long(site):
    first, second, third = (site.opened(text) for text in ("no crank", "squeal", "warm at lights"))
    today = site.get(first).opened
    old = replace(site.get(third), opened=today - timedelta(days=9))
    site.write(lambda unit: unit.jobs.save(old, verb="test"))
    site.send(f"/job/{second}/wait", waits_for="the fan, Tuesday")
    site.send(f"/job/{first}/finding", check="condenser_air_boost", outcome="no_change")
    text = site.page("/")
    ids = re.findall(r'<a href="/job/(J\d+)"><strong>', text)
    assert ids == [third, first, second]
    rows = dict(zip(ids, text.split('<a href="/job/')[1:], strict=True))
    assert "Open</strong>, waits for its first check" in rows[third]
    assert "open for 9 days" in rows[third]
    assert "Open</strong>, waits for its next check, or its close" in rows[first]
    assert "opened today" in rows[first]
    assert "Waiting</strong>, waits for the fan, Tuesday" in rows[second]


@pytest.mark.parametrize(("field", "value"), [("odometer", "88k"), ("year", "16")])
def test_a_wrong_number_of_the_vehicle_is_told_at_its_field(site, field, value):
    job = site.opened()
    text = site.send(f"/job/{job}/vehicle", **{"year": "2016", field: value}).text
    assert f'value="{value}" aria-invalid="true" autofocus aria-describedby="{field}-error"' in text
    assert f'id="{field}-error" role="alert"' in text


def test_a_record_that_changed_on_the_disk_is_named_and_never_shown(site):
    good, bad = site.opened("cold on the road, warm at lights"), site.opened("no crank, no click")
    with site.store.write("x", datetime(2026, 5, 4, tzinfo=UTC)) as unit:
        for name in (bad, "S3"):
            # A record that was read before is served as it was: this one is new to the program.
            unit.connection.exec_driver_sql(
                f"UPDATE jobs SET body = 'other', content_hash = '0' || id WHERE id = '{name}'"
            )
    today = site.page("/")
    assert f"changed on the disk: {bad}. " in today
    assert f"/job/{bad}" not in today
    assert f"/job/{good}" in today
    for page in (f"/job/{bad}", "/case/S3"):
        assert "it is not shown" in site.page(page, 503)
    listed = site.page("/find?cause=starter_worn")
    assert "changed on the disk: S3. " in listed
    assert "/case/S3" not in listed
