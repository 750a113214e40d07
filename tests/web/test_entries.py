import re

import pytest

from kb.case.model import Phase, Scan, Tried, Vehicle
from tests.factories import a_closing
from tests.web.conftest import WORDS, closed_case

VIN = "5ZZTR2P59GA004217"


def section(text, name="entry"):
    start = text.index(f'<section aria-labelledby="{name}"')
    return text[start : text.index("</section>", start)]


def ids_of(text):
    return re.findall(r'\bid="([^"]+)"', text)


def marked(text, form, field):
    name = f"{form}-{field}-error"
    return f'aria-describedby="{name}"' in text and f'id="{name}" role="alert"' in text


# --- usual readings ------------------------------------------------------------------------------


def test_the_usual_readings_are_those_of_the_likeliest_causes_system(site):
    text = section(site.page(f"/job/{site.opened()}"))
    assert "Usual readings: Heating and air conditioning" in text
    for row in WORDS.baselines["hvac"].readings:
        assert f'name="read:{row.quantity}:' in text
    assert 'name="read:vent_temp:driver"' in text
    assert 'inputmode="decimal"' in text


@pytest.mark.parametrize("system", sorted(WORDS.baselines))
def test_every_system_that_has_a_set_can_be_chosen(site, system):
    text = section(site.page(f"/job/{site.opened()}?system={system}"))
    assert f'<option value="{system}" selected>' in text
    for row in WORDS.baselines[system].readings:
        assert f'name="read:{row.quantity}:' in text
    ids = re.findall(r'\bid="([^"]+)"', text)
    assert len(ids) == len(set(ids))


def test_an_unknown_system_is_no_error(site):
    assert "Usual readings" in site.page(f"/job/{site.opened()}?system=%3Cb%3E")


def test_all_in_one_send_is_one_reading_set_and_one_line_of_history(site):
    job = site.opened()
    answer = site.send(
        f"/job/{job}/readings",
        **{
            "read:vent_temp:driver": "68",
            "unit:vent_temp:driver": "degF",
            "read:low_side_pressure:": "1,9 bar",
            "unit:low_side_pressure:": "psi",
            "read:high_side_pressure:": "",
            "unit:high_side_pressure:": "psi",
            "phase": "after",
            "state": ["at_idle", "1500 rpm", "made up"],
        },
    )
    assert answer.status_code == 302
    (group,) = site.get(job).reading_sets
    assert [(row.position, row.typed, row.unit) for row in group.readings] == [
        ("driver", "68", "degF"),
        (None, "1,9", "bar"),
    ]
    assert (group.phase, group.state) == (Phase.AFTER, ("at_idle", "1500 rpm"))
    assert [row.verb for row in site.history(job)] == ["open", "readings"]
    text = section(site.page(f"/job/{job}"))
    assert "Read already: after the repair 68 °F" in text
    assert not re.search(r'name="read:vent_temp:driver"[^>]*value="[^"]', text)


def test_a_number_that_cannot_be_is_refused_at_its_field_with_all_else_kept(site):
    job = site.opened()
    answer = site.send(
        f"/job/{job}/readings",
        **{
            "read:vent_temp:driver": "900",
            "unit:vent_temp:driver": "degC",
            "read:ambient_temp:": "91",
            "unit:ambient_temp:": "degF",
            "system": "hvac",
            "phase": "after",
            "state": "at_idle",
        },
    )
    assert answer.status_code == 400
    text = section(answer.text)
    (field,) = re.findall(r'<input id="(read-\d+)" name="read:vent_temp:driver"', text)
    assert f'aria-describedby="{field}-error"' in text
    assert re.search(rf'id="{field}-error" role="alert">expected Vent [^<]+ 900 °C', text)
    assert re.search(r'name="read:ambient_temp:"[^>]*value="91"', text)
    assert 'value="at_idle" checked' in text
    assert '<option value="after" selected>' in text
    assert text.count('role="alert"') == 1
    assert '<details id="usual" open>' in text
    assert site.get(job).reading_sets == ()


def test_nothing_filled_in_is_said_and_an_unknown_quantity_is_no_trace(site):
    job = site.opened()
    empty = site.send(f"/job/{job}/readings", **{"read:vent_temp:": ""})
    assert (empty.status_code, "at least one number" in empty.text) == (400, True)
    forged = site.send(f"/job/{job}/readings", **{"read:no_such:": "1", "unit:no_such:": "psi"})
    assert forged.status_code == 400
    forged = site.send(f"/job/{job}/readings", **{"read:vent_temp:": "1", "unit:vent_temp:": "lb"})
    assert forged.status_code == 400


# --- checks --------------------------------------------------------------------------------------


def test_one_tap_on_an_outcome_stores_the_finding(site):
    job = site.opened()
    text = section(site.page(f"/job/{job}"), "next")
    assert 'name="check" value="condenser_air_boost"' in text
    for outcome in (*WORDS.checks["condenser_air_boost"].outcomes, "unclear", "not_done"):
        assert f'name="outcome" value="{outcome}"' in text
    assert text.index("Stop:") < text.index('name="outcome"')
    answer = site.send(
        f"/job/{job}/finding", check="condenser_air_boost", outcome="no_change", minutes="7,5"
    )
    assert answer.location == f"/job/{job}#next"
    (finding,) = site.get(job).findings
    assert (finding.outcome, finding.minutes) == ("no_change", 7.5)
    assert 'name="check" value="condenser_air_boost"' not in site.page(f"/job/{job}")


def test_what_came_of_a_check_is_tapped_where_it_is_advised_and_nowhere_else(site):
    job = site.opened()
    text = site.page(f"/job/{job}")
    assert text.count('name="check" value="condenser_air_boost"') == 1
    assert 'name="outcome"' not in section(text)
    assert text.index('id="next"') < text.index('id="causes"')
    live = site.page(f"/job/{job}/answers?text=amb+92F")
    assert live.count('name="check" value="condenser_air_boost"') == 1
    assert len(ids_of(live)) == len(set(ids_of(live)))
    assert 'name="outcome"' not in site.page("/answers?q=cold+on+the+road,+warm+at+lights")


def test_a_refused_check_is_shown_again_where_it_is_advised_no_more(site):
    job = site.opened()
    form = {"check": "rotor_runout_check", "outcome": "in_limit", "minutes": "soon"}
    answer = site.send(f"/job/{job}/finding", **form)
    assert answer.status_code == 400
    assert 'aria-describedby="minutes-again-error"' in answer.text
    assert 'value="soon"' in answer.text
    assert len(ids_of(answer.text)) == len(set(ids_of(answer.text)))


def test_the_refused_field_takes_the_focus_so_that_nobody_looks_for_it(site):
    job = site.opened()
    for path, form in {
        "codes": {"code": "b10z"},
        "tried": {"part": ""},
        "readings": {"read:vent_temp:driver": "x"},
        "finding": {"check": "condenser_air_boost", "outcome": "no_change", "minutes": "x"},
    }.items():
        text = site.send(f"/job/{job}/{path}", **form).text
        assert re.search(r'<input[^>]* aria-invalid="true" autofocus ', text), path


def test_what_the_customer_answered_and_the_car_are_read_at_the_top(site):
    job = site.opened()
    site.send(f"/job/{job}/complaint", frequency="every day", since="the hail storm")
    site.send(f"/job/{job}/vehicle", vin=VIN, odometer="88000", odometer_unit="mi")
    head = site.page(f"/job/{job}").partition('class="two job"')[0]
    assert "The customer says how often: every day; since: the hail storm" in head
    assert f"VIN {VIN}, 88,000 mi" in head


@pytest.mark.parametrize("minutes", ["soon", "-1", "99999", "nan"])
def test_minutes_that_are_none_are_refused_at_the_field(site, minutes):
    job = site.opened()
    answer = site.send(
        f"/job/{job}/finding", check="condenser_air_boost", outcome="no_change", minutes=minutes
    )
    assert answer.status_code == 400
    assert re.search(r'aria-describedby="minutes-\w+-error"', answer.text)
    assert f'value="{minutes}"' in answer.text
    assert site.get(job).findings == ()


def test_the_page_of_all_checks_has_those_of_one_system_and_is_light(site):
    job = site.opened()
    for system in WORDS.systems:
        text = site.page(f"/job/{job}/checks?system={system}")
        shown = set(re.findall(r'name="check" value="(\w+)"', text))
        wanted = {row.key for row in WORDS.checks.values() if {system, "all"} & set(row.systems)}
        assert shown == wanted
        assert len(text) < 150_000
        ids = re.findall(r'\bid="([^"]+)"', text)
        assert len(ids) == len(set(ids))


def test_a_subject_that_is_missing_is_asked_for_where_the_check_is(site):
    job = site.opened()
    form = {"check": "look_over", "outcome": "fault_seen", "page": "checks", "system": "brakes"}
    answer = site.send(f"/job/{job}/finding", **form)
    assert answer.status_code == 400
    assert "expected which part" in answer.text
    assert re.search(r'aria-describedby="subject-\d+-error"', answer.text)
    assert f"Checks for {job}: Brakes" in answer.text
    assert site.send(f"/job/{job}/finding", **form, subject="hose").status_code == 302
    assert site.get(job).findings[0].subject == "hose"


def test_a_check_that_is_forged_is_no_trace(site):
    job = site.opened()
    assert site.send(f"/job/{job}/finding", check="x", outcome="y").status_code == 400
    assert site.send(f"/job/{job}/finding").status_code == 400


# --- codes, parts, questions ---------------------------------------------------------------------


def test_codes_are_added_with_module_and_status(site):
    job = site.opened()
    form = {"code": "p0301, P0302", "module": "engine", "status": "pending", "action": "add"}
    assert site.send(f"/job/{job}/codes", **form).status_code == 302
    rows = [(row.code, row.module, row.status) for row in site.get(job).codes]
    assert rows == [("P0301", "engine", "pending"), ("P0302", "engine", "pending")]


def test_what_is_no_code_is_refused_at_the_field(site):
    job = site.opened()
    answer = site.send(f"/job/{job}/codes", code="P03O1", module="engine", action="add")
    assert answer.status_code == 400
    assert marked(answer.text, "codes", "code")
    assert "P0301" in answer.text
    assert 'value="P03O1"' in answer.text


def test_scanned_none_found_is_one_tap(site):
    job = site.opened()
    site.send(f"/job/{job}/codes", action="none", module="engine, ABS")
    assert site.get(job).scan == Scan(none_found=True, modules=("engine", "ABS"))
    assert "engine, ABS" in site.page(f"/job/{job}")


def test_a_part_that_did_not_cure_is_added_with_money_and_minutes(site):
    job = site.opened()
    form = {"part": "fan relay", "happened": "no change", "cost": "$18.95", "minutes": "10"}
    assert site.send(f"/job/{job}/tried", **form).status_code == 302
    assert site.get(job).tried == (
        Tried(part="fan relay", text="no change", cost_cents=1895, minutes=10.0),
    )


def test_wrong_money_minutes_and_no_part_are_told_at_their_fields(site):
    job = site.opened()
    answer = site.send(f"/job/{job}/tried", part="relay", cost="much", minutes="long")
    assert answer.status_code == 400
    assert marked(answer.text, "tried", "cost")
    assert marked(answer.text, "tried", "minutes")
    for kept in ("relay", "much", "long"):
        assert f'value="{kept}"' in answer.text
    answer = site.send(f"/job/{job}/tried", cost="5")
    assert marked(answer.text, "tried", "part")
    assert site.get(job).tried == ()


def test_the_customers_sentence_stays_when_the_questions_are_answered(site):
    job = site.opened(said="It blows warm.")
    form = {"frequency": "daily", "since": "June", "before_it": "top-up"}
    assert site.send(f"/job/{job}/complaint", **form, said="forged").status_code == 302
    complaint = site.get(job).complaint
    assert (complaint.said, complaint.frequency) == ("It blows warm.", "daily")
    text = site.page(f"/job/{job}")
    for value in form.values():
        assert f'value="{value}"' in text
    long = site.send(f"/job/{job}/complaint", frequency="x" * 201)
    assert long.status_code == 400
    assert marked(long.text, "complaint", "frequency")


def test_two_people_never_overwrite_each_others_answers(site):
    job = site.opened()
    site.send(f"/job/{job}/complaint", since="June", revision="1")
    answer = site.send(f"/job/{job}/complaint", since="May", revision="1")
    assert answer.status_code == 409
    assert site.get(job).complaint.since == "June"


# --- the same car --------------------------------------------------------------------------------


def test_earlier_jobs_of_the_vin_are_shown_and_one_tap_makes_a_comeback(site):
    site.put(closed_case("E1", "warm at lights", "condenser_fan_dead", vehicle=Vehicle(vin=VIN)))
    job = site.opened()
    assert "This car before" not in site.page(f"/job/{job}")
    site.send(f"/job/{job}/vehicle", vin="5zz tr2p5-9GA004217", family="Copse platform")
    assert site.get(job).vehicle == Vehicle(vin=VIN, family="Copse platform")
    text = site.page(f"/job/{job}")
    assert "This car before" in text
    assert 'href="/job/E1"' in text
    assert "Condenser fan or one speed dead" in text
    assert "Look again" not in text
    assert site.send(f"/job/{job}/comeback", earlier="E1").status_code == 302
    text = site.page(f"/job/{job}")
    assert "A comeback of" in text
    assert ">Comeback of E1<" not in text
    site.send(f"/job/{job}/comeback", earlier="")
    assert site.get(job).comeback_of is None


def test_a_vin_that_can_hardly_be_right_is_kept_with_a_doubt(site):
    job = site.opened()
    assert site.send(f"/job/{job}/vehicle", vin="5ZZTR2P58GA004217").status_code == 302
    text = site.page(f"/job/{job}")
    assert 'aria-describedby="vin-doubt"' in text
    assert "expected 9 at place 9" in text
    assert site.get(job).vehicle.vin == "5ZZTR2P58GA004217"


def test_a_vehicle_form_without_the_family_keeps_it_while_the_model_is_the_same(site):
    job = site.opened()
    site.send(f"/job/{job}/vehicle", family="Copse platform")
    site.send(f"/job/{job}/vehicle", year="2016")
    assert site.get(job).vehicle.family == "Copse platform"


def test_nothing_is_added_to_a_closed_job(site):
    for path, form in {
        "readings": {"read:vent_temp:": "68", "unit:vent_temp:": "degF"},
        "finding": {"check": "condenser_air_boost", "outcome": "unclear", "minutes": "x"},
        "codes": {"code": "P0301"},
        "tried": {"part": "fan"},
        "complaint": {"since": "June"},
        "comeback": {"earlier": ""},
    }.items():
        assert site.send(f"/job/S1/{path}", **form).status_code == 409, path
    assert site.client.get("/job/S1/checks").location == "/case/S1"
    assert site.get("S1").closing == a_closing("condenser_fan_dead")
