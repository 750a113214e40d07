import re
from html import unescape

import pytest

from kb.case.model import JobState, Phase
from kb.case.retake import as_found
from tests.web.conftest import shown, without_keys
from tests.web.test_jobs import CLOSE, EVIL, marked
from web.auth import Person, right_of
from web.report import job_text
from web.rights import RIGHTS, Right, Role

# As it is kept while the job goes: the action repeated, with what it changed, proves the cause.
KEPT = (
    "cold on the road, warm at lights; hi 318 low 58 vent 68F\n"
    "fan air on condenser: hi 318 to 214, vent 68 to 47 x2"
)
BRAKES = {
    "end": "declined",
    "cause": "hose_collapsed",
    "method": "seen",
    "proof_text": "hose swells shut",
}


FIELD = re.compile(
    r"<input (?P<input>[^>]*)>"
    r"|<select (?P<select>[^>]*)>(?P<rows>.*?)</select>"
    r"|<textarea (?P<area>[^>]*)>(?P<text>.*?)</textarea>",
    re.DOTALL,
)


def attribute(tag, name):
    found = re.search(rf'\b{name}="([^"]*)"', tag)
    return unescape(found[1]) if found else ""


def fields(text):
    """Return the fields of the close form as a browser would send them, buttons left out."""
    (form,) = re.findall(r'id="close-form".*?</form>', text, re.DOTALL)
    sent = {}
    for found in FIELD.finditer(form):
        if found["input"] is not None:
            tag = found["input"]
            if 'type="radio"' not in tag or " checked" in tag:
                sent[attribute(tag, "name")] = attribute(tag, "value")
        elif found["select"] is not None:
            rows = re.findall(r'value="([^"]*)" selected', found["rows"])
            sent[attribute(found["select"], "name")] = unescape(rows[0]) if rows else ""
        else:
            sent[attribute(found["area"], "name")] = unescape(found["text"])
    return sent


def after_names(site, job):
    return {row.reading.quantity: row.name for row in as_found(site.get(job))}


# --- filled from the job -------------------------------------------------------------------------


def test_a_job_kept_as_it_went_comes_with_its_cause_and_its_proof(site):
    job = site.opened(KEPT, invoice="77")
    form = fields(site.page(f"/job/{job}/close"))
    assert form["cause"] == "condenser_fan_dead"
    assert form["method"] == "came_and_went"
    assert "pressure falls vent cools, 2 times" in form["proof_text"]
    assert "68 to 47 °F" in form["proof_text"]
    assert form["invoice"] == "77"
    assert "Will stand as: likely, because it came and went" in site.page(f"/job/{job}/close")


def test_such_a_job_is_closed_with_a_fix_and_two_values(site):
    job = site.opened(KEPT)
    names = after_names(site, job)
    form = fields(site.page(f"/job/{job}/close"))
    typed = {"fix": "replaced", names["high_side_pressure"]: "209", names["vent_temp"]: "46"}
    answer = site.send(f"/job/{job}/close", **form | typed)
    assert (answer.status_code, answer.location) == (302, f"/case/{job}")
    text = site.page(f"/case/{job}")
    assert "fell 109 psi" in text
    assert "fell 22 °F" in text
    assert "not read again" in text


def test_no_cause_is_chosen_where_no_finding_proves_it_but_likely_ones_stand_first(site):
    text = site.page(f"/job/{site.opened('cold on the road, warm at lights')}/close")
    form = fields(text)
    assert (form["cause"], form["other_cause"], form["method"]) == ("", "", "")
    assert text.index('name="cause" value="condenser_fan_dead"') < text.index('id="other_cause"')
    assert "Cannot be closed like this yet: the cause and how it was proven are missing." in text


def test_no_cause_stands_twice_on_the_page(site):
    text = site.page(f"/job/{site.opened('cold on the road, warm at lights')}/close")
    others = text[text.index('id="other_cause"') : text.index('id="second_cause"')]
    offered = re.findall(r'name="cause" value="(\w+)"', text)
    assert offered
    assert not [key for key in offered if f'value="{key}"' in others]


def test_the_readings_as_found_are_the_form_for_those_after_the_repair(site):
    job = site.opened("warm at lights; hi 318 psi; vent 68F", invoice="77")
    text = site.page(f"/job/{job}/close")
    for name in after_names(site, job).values():
        assert f'<input id="{name}" name="{name}"' in text
        assert f'<label for="{name}"' in text
    assert "318 psi" in text
    assert 'data-draft="close-' + job in text
    assert "--" not in re.sub(r' value="[^"]*"', "", text)


def test_earlier_jobs_of_the_car_are_shown_and_a_comeback_can_be_named(site):
    job = site.opened()
    vehicle = {"make": "Pellarin", "model": "Copse", "vin": "V9"}
    site.send(f"/job/{job}/vehicle", **vehicle)
    site.send(f"/job/{job}/close", **CLOSE)
    again = site.opened("warm again")
    assert job not in site.page(f"/job/{again}/close")
    site.send(f"/job/{again}/vehicle", **vehicle)
    text = site.page(f"/job/{again}/close")
    assert "Earlier jobs of this car" in text
    assert f'href="/job/{job}"' in text
    site.send(f"/job/{again}/close", **CLOSE | {"invoice": "", "comeback_of": job})
    assert site.get(again).comeback_of == job
    assert f'Came back as <a class="line" href="/case/{again}"' in site.page(f"/case/{job}")


def test_the_photos_of_the_job_can_be_chosen_with_a_proof(site):
    job = site.opened()
    photo = site.with_photo(job)
    text = site.page(f"/job/{job}/close")
    assert f'<option value="{photo}"' in text
    wrong = site.send(f"/job/{job}/close", **CLOSE | {"photo": "0" * 64})
    assert wrong.status_code == 400
    assert marked(wrong.text, "photo")
    site.send(f"/job/{job}/close", **CLOSE | {"photo": photo})
    for page in (f"/case/{job}", f"/case/{job}/customer"):
        assert f'src="/photo/{photo}' in site.page(page)


# --- shown before it is sent ---------------------------------------------------------------------


def test_how_it_will_stand_is_shown_for_the_answers_as_they_are_and_nothing_is_written(site):
    job = site.opened()
    form = CLOSE | {"method": "inferred", "action": "look"}
    answer = site.send(f"/job/{job}/close", **form)
    assert answer.status_code == 200
    assert "Will stand as: unproven, because the cause was only inferred" in answer.text
    assert "blades stand still" in answer.text
    assert site.get(job).state is JobState.OPEN
    seen = site.send(f"/job/{job}/close", **form | {"method": "seen", "proof_text": "it leaks"})
    assert "Will stand as: proven, because the fault itself was seen." in seen.text
    assert "has neither a value nor a photo with it" in seen.text


def test_a_form_shown_again_keeps_its_number_and_an_older_draft_cannot_fill_it(site):
    job, number = site.opened(), "c" * 32
    answer = site.send(f"/job/{job}/close", **CLOSE | {"action": "look", "form_id": number})
    assert f'name="form_id" value="{number}"' in answer.text
    (draft,) = re.findall(r'data-draft="([^"]+)"', answer.text)
    assert draft.startswith(f"close-{job}-")


def test_the_usual_choices_are_offered_with_the_shops_own_prices_and_not_forced(site):
    site.send(
        f"/job/{site.opened()}/close", **CLOSE | {"kind_1": "replaced", "kind_2": "workaround"}
    )
    job = site.opened("warm at lights")
    untouched = site.page(f"/job/{job}/close")
    assert fields(untouched)["option_1"] == ""
    answer = site.send(
        f"/job/{job}/close", action="usual", cause="condenser_fan_dead", option_1="rent a car"
    )
    form = fields(answer.text)
    known = site.words.causes["condenser_fan_dead"]
    assert (form["option_1"], form["price_1"]) == ("rent a car", "")
    assert (form["option_2"], form["kind_2"], form["price_2"]) == (known.fix, "replaced", "412.00")
    assert (form["option_3"], form["kind_3"], form["price_3"]) == (
        known.cheaper,
        "workaround",
        "238.00",
    )
    assert form["kind_4"] == "declined"
    assert form["chosen"] == ""
    assert site.get(job).state is JobState.OPEN


def test_the_usual_choices_also_bring_the_jobs_own_proof_of_the_cause(site):
    job = site.opened(KEPT)
    answer = site.send(f"/job/{job}/close", action="usual", cause="condenser_fan_dead")
    assert fields(answer.text)["method"] == "came_and_went"
    kept = site.send(f"/job/{job}/close", action="usual", cause="condenser_fan_dead", method="seen")
    assert fields(kept.text)["method"] == "seen"


# --- refused, with everything kept ---------------------------------------------------------------


def test_nothing_answered_marks_both_and_names_no_option_of_the_terminal(site):
    job = site.opened()
    answer = site.send(f"/job/{job}/close", end="fixed")
    assert answer.status_code == 400
    assert marked(answer.text, "cause")
    assert marked(answer.text, "method")
    assert "--proof" not in answer.text


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"price_1": "a lot"}, "price_1"),
        ({"kind_2": "magic"}, "kind_2"),
        ({"fix": "prayed over"}, "fix"),
        ({"method": ""}, "method"),
        ({"proof_text_2": "and seen"}, "method_2"),
        ({"second_cause": "condenser_fan_dead"}, "second_cause"),
        ({"after_kind": ""}, "after_kind"),
        ({"fix": "workaround"}, "end"),
    ],
)
def test_an_answer_that_cannot_be_read_is_marked_and_kept(site, changes, field):
    job = site.opened()
    sent = CLOSE | changes
    answer = site.send(f"/job/{job}/close", **sent)
    assert answer.status_code == 400
    assert marked(answer.text, field)
    chosen = {"kind_2", "fix"}  # a choice that there is not cannot stand on the page
    kept = {key: text for key, text in fields(answer.text).items() if key in sent}
    for key in sent.keys() - chosen:
        assert kept[key] == sent[key], key
    assert site.get(job).state is JobState.OPEN


@pytest.mark.parametrize(
    ("typed", "words"), [("3000", "expected Low-side pressure"), ("300", "did you mean kPa")]
)
def test_a_value_outside_the_hard_limits_is_refused_at_its_field(site, typed, words):
    job = site.opened("warm at lights; low 58 hi 318")
    name = after_names(site, job)["low_side_pressure"]
    answer = site.send(f"/job/{job}/close", **CLOSE | {name: typed})
    assert answer.status_code == 400
    assert marked(answer.text, name)
    assert words in answer.text
    assert fields(answer.text)[name] == typed
    assert site.get(job).state is JobState.OPEN


def test_readings_after_the_repair_are_kept_with_the_unit_that_was_typed(site):
    job = site.opened("warm at lights; low 58 hi 318")
    name = after_names(site, job)["low_side_pressure"]
    site.send(f"/job/{job}/close", **CLOSE | {name: "2.4 bar"})
    (group,) = [row for row in site.get(job).reading_sets if row.phase is Phase.AFTER]
    assert [(row.typed, row.unit) for row in group.readings] == [("2.4", "bar")]
    assert "fell 23.2 psi" in site.page(f"/case/{job}")


@pytest.mark.parametrize("changes", [{"cause": "gremlins"}, {"end": "lost"}, {"after_kind": "x"}])
def test_a_word_that_the_trade_does_not_know_is_refused(site, changes):
    job = site.opened()
    answer = site.send(f"/job/{job}/close", **CLOSE | changes)
    assert answer.status_code == 400
    assert "expected" in answer.text
    assert site.get(job).state is JobState.OPEN


def test_the_same_close_twice_makes_one_case(site):
    job = site.opened()
    for _ in range(2):
        answer = site.send(f"/job/{job}/close", **CLOSE)
        assert (answer.status_code, answer.location) == (302, f"/case/{job}")
    assert [line.verb for line in site.history(job)] == ["open", "close"]


def test_a_number_that_closed_another_job_is_refused(site):
    site.send(f"/job/{site.opened()}/close", **CLOSE)
    answer = site.send(f"/job/{site.opened('no crank')}/close", **CLOSE)
    assert answer.status_code == 409
    assert "501" in answer.text
    assert "blades stand still" in answer.text


@pytest.mark.parametrize("end", ["no_fault_found", "normal", "referred", "declined_before_proof"])
def test_an_end_without_a_cause_needs_no_proof(site, end):
    job = site.opened()
    answer = site.send(f"/job/{job}/close", end=end)
    assert answer.status_code == 302
    assert "none found" in site.page(f"/case/{job}")
    assert site.client.get(f"/case/{job}/customer").status_code == 200


# --- a declined safety repair --------------------------------------------------------------------


def test_a_declined_safety_repair_is_written_out_on_every_page(site):
    job = site.opened("pulls left when braking", said="It pulls.")
    looked = site.send(f"/job/{job}/close", **BRAKES, action="look").text
    assert "This will be written on the case" in looked
    site.send(f"/job/{job}/close", **BRAKES, told="the owner, by phone")
    for text in (looked, site.page(f"/case/{job}"), site.page(f"/case/{job}/customer")):
        for part in (
            "Safety repair declined.",
            "the car may not stop in time",
            "The customer declined it on ",
        ):
            assert part in text
    for path in (f"/case/{job}", f"/case/{job}/customer"):
        assert "Told of the danger: the owner, by phone." in site.page(path)
    assert "Nothing was repaired, as you decided." in site.page(f"/case/{job}/customer")


def test_a_chosen_line_that_leaves_the_fault_is_a_decline_too(site):
    job = site.opened("pulls left when braking")
    form = BRAKES | {
        "end": "not_fixed",
        "option_1": "new hose",
        "kind_1": "replaced",
        "option_2": "leave it",
        "kind_2": "declined",
        "chosen": "2",
    }
    site.send(f"/job/{job}/close", **form)
    closing = site.get(job).closing
    assert closing is not None
    assert "Safety repair declined." in closing.options[0].risk
    assert closing.options[1].risk == ""


def test_a_repair_that_was_done_is_not_called_declined(site):
    job = site.opened("pulls left when braking")
    site.send(f"/job/{job}/close", **BRAKES | {"end": "fixed", "fix": "replaced"})
    assert "declined" not in site.page(f"/case/{job}")


# --- who may, and what was typed never runs ------------------------------------------------------


@pytest.mark.parametrize(
    ("role", "status"), [(Role.VIEWER, 403), (Role.TECHNICIAN, 302), (Role.ADVISOR, 302)]
)
def test_technician_and_advisor_may_close_and_a_viewer_may_not(site, monkeypatch, role, status):
    job, token = site.opened(), site.token()
    monkeypatch.setattr("web.auth.person", lambda: Person(name="Ines", role=role))
    sent = site.client.post(f"/job/{job}/close", data={"csrf_token": token, **CLOSE})
    assert sent.status_code == status
    assert (site.get(job).state is JobState.OPEN) is (status == 403)
    assert (Right.CLOSE in RIGHTS[role]) is (status == 302)
    assert right_of(site.app, "close.form") is right_of(site.app, "close.send") is Right.CLOSE


def test_script_in_every_field_comes_back_escaped(site):
    job = site.opened(f"{EVIL}; low 58", said=EVIL, vehicle=f"2016 {EVIL}", invoice=EVIL)
    names = [*fields(site.page(f"/job/{job}/close")), "told", "kind_6", "option_6"]
    evil = {name: EVIL for name in names if name not in {"csrf_token", "form_id", "comeback_of"}}
    pages = [site.send(f"/job/{job}/close", **evil).text]
    pages += [site.send(f"/job/{job}/close", **evil, action=key).text for key in ("look", "usual")]
    chosen = (
        CLOSE | BRAKES | {"fix": "", "kind_1": "", "kind_2": "", "method_2": "", "other_cause": ""}
    )
    free = {
        name: EVIL
        for name in evil
        if name not in chosen
        and not name.startswith(
            ("price", "kind", "method", "photo", "second", "after_", "chosen", "new_", "until")
        )
    }
    free = {k: v for k, v in free.items() if not k.startswith("proof_text_")}
    sent = chosen | free | dict.fromkeys(["proof_text", "fix_text", "after_text", "lesson"], EVIL)
    closed = site.send(f"/job/{job}/close", **sent)
    assert closed.status_code == 302, closed.text
    pages += [site.page(f"/case/{job}{tail}") for tail in ("", "/customer")]
    pages.append(site.page(f"/job/{job}/label"))
    for text in pages:
        assert "<script" not in shown(text)
        assert '"><b>' not in text
    assert all("&lt;script&gt;" in text for text in pages)


# --- a cause that is not listed ------------------------------------------------------------------

NEW = {**CLOSE, "cause": "", "new_cause": "Mouse nest in the blower", "new_system": "hvac"}


def test_a_cause_that_the_shop_names_at_the_close_is_added_and_found(site):
    job = site.opened("zorble from the vents")
    assert site.send(f"/job/{job}/close", **NEW).status_code == 302
    assert site.get(job).cause == "mouse_nest_in_the_blower"
    assert "Mouse nest in the blower" in site.page(f"/case/{job}")
    assert "Mouse nest in the blower" in site.page("/find?q=zorble+from+the+vents")
    again = site.opened("warm air")
    assert "Mouse nest in the blower" in site.page(f"/job/{again}/close")


@pytest.mark.parametrize(
    ("changes", "field"),
    [({"new_system": ""}, "new_system"), ({"new_cause": "???"}, "new_cause"), ({"method": "", "proof_text": ""}, "method")],
)  # fmt: skip
def test_a_new_cause_that_cannot_be_taken_closes_nothing_and_adds_nothing(site, changes, field):
    job = site.opened()
    answer = site.send(f"/job/{job}/close", **{**NEW, **changes})
    assert answer.status_code == 400
    assert marked(answer.text, field)
    assert site.get(job).state is JobState.OPEN
    with site.store.read() as unit:
        assert unit.terms.rows() == ()


def test_a_new_cause_like_a_known_one_is_asked_about_once(site):
    job = site.opened()
    form = {**NEW, "new_cause": "Condenser fan speed dead"}
    answer = site.send(f"/job/{job}/close", **form)
    assert answer.status_code == 400
    assert "Condenser fan or one speed dead" in answer.text
    assert 'name="sure" value="yes"' in answer.text
    assert site.send(f"/job/{job}/close", **form, sure="yes").status_code == 302
    assert site.get(job).cause == "condenser_fan_speed_dead"


def test_only_who_may_add_words_may_name_a_new_cause(site):
    job = site.opened()
    advisor = site.as_role(Role.ADVISOR)
    assert "A cause that is not listed" not in advisor.page(f"/job/{job}/close")
    answer = advisor.send(f"/job/{job}/close", **NEW)
    assert answer.status_code == 400
    assert site.get(job).state is JobState.OPEN


def test_what_is_looked_up_on_the_close_page_is_shown_where_one_lands(site):
    job = site.opened()
    text = site.page(f"/job/{job}/close")
    for action, place in (("look", "preview"), ("usual", "choices")):
        assert f'value="{action}" class="quiet" formaction="/job/{job}/close#{place}"' in text
        assert f'id="{place}"' in text


def test_a_close_that_was_taken_back_is_asked_nothing_again(site):
    job = site.opened(KEPT)
    names = after_names(site, job)
    options = {"option_1": "new fan", "kind_1": "replaced", "price_1": "412.00", "chosen": "1"}
    form = {**CLOSE, **options, "fix_text": "fan assembly", names["high_side_pressure"]: "209"}
    assert site.send(f"/job/{job}/close", **form).status_code == 302
    closed = site.get(job)
    site.send(f"/job/{job}/undo")
    site.send(f"/job/{job}/add", text="fan loud last month")
    typed = fields(site.page(f"/job/{job}/close"))
    for name in ("cause", "method", "proof_text", "fix", "fix_text", "price_1", "chosen", "lesson"):
        assert typed[name] == form.get(name, ""), name
    assert typed[names["high_side_pressure"]] == "209 psi"
    again = site.send(f"/job/{job}/close", **{**typed, "fix": form["fix"]})
    assert again.status_code == 302
    assert site.get(job).closing == closed.closing
    assert site.get(job).reading_sets == closed.reading_sets


def test_a_declined_repair_that_is_closed_again_is_written_out_once(site):
    job = site.opened("brake pedal goes to the floor; batt 12.6 V")
    form = {**CLOSE, **BRAKES, "fix": "declined", "told": "the owner", "chosen": ""}
    form |= {"other_conditions": "wet road", "after_kind": "not_proved", "after_text": "see above"}
    assert site.send(f"/job/{job}/close", **form).status_code == 302
    closed = site.get(job)
    site.send(f"/job/{job}/undo")
    typed = fields(site.page(f"/job/{job}/close"))
    assert (typed["told"], typed["other_conditions"]) == ("the owner", "wet road")
    assert site.send(f"/job/{job}/close", **typed).status_code == 302
    assert site.get(job).closing == closed.closing
    assert str(closed.closing).count("Safety repair declined.") == 1


# --- parts and the end of a work-around ----------------------------------------------------------

PARTS = {"part_1": "condenser fan", "supplier_1": "Northgate", "lot_1": "2631", "part_2": "relay"}
UNTIL = {"end": "workaround", "fix": "workaround", "until": "2031-09-30"}


def test_what_was_fitted_stands_on_the_case_and_in_the_terminal_but_not_before_the_customer(site):
    job = site.opened()
    site.send(f"/job/{job}/close", **CLOSE | PARTS | UNTIL)
    text = site.page(f"/case/{job}")
    assert "<li>condenser fan, from Northgate, lot 2631</li><li>relay</li>" in text
    assert "<dt>Good until</dt><dd>2031-09-30</dd>" in text
    told = job_text(site.get(job), site.words)
    assert "condenser fan, from Northgate, lot 2631" in told
    assert "2031-09-30" in told
    customer = without_keys(site.page(f"/case/{job}/customer"))
    assert "Northgate" not in customer
    assert "2631" not in customer


def test_parts_and_the_day_are_asked_nothing_again_after_the_close_was_taken_back(site):
    job = site.opened()
    site.send(f"/job/{job}/close", **CLOSE | PARTS | UNTIL)
    before = site.get(job).closing
    site.send(f"/job/{job}/undo")
    form = fields(site.page(f"/job/{job}/close"))
    assert {name: form[name] for name in PARTS} == PARTS
    assert form["until"] == "2031-09-30"
    site.send(f"/job/{job}/close", **form)
    assert site.get(job).closing.parts == before.parts
    assert site.get(job).closing.until == before.until


def test_suppliers_that_were_typed_before_are_offered_and_the_rows_are_folded(site):
    first = site.page(f"/job/{site.opened()}/close")
    assert '<datalist id="suppliers"></datalist>' in first
    site.send(f"/job/{site.opened()}/close", **CLOSE | PARTS | {"invoice": ""})
    text = site.page(f"/job/{site.opened('warm again')}/close")
    assert '<datalist id="suppliers"><option value="Northgate"></option></datalist>' in text
    assert "<details><summary>Parts fitted</summary>" in text
    assert "<details><summary>How long a work-around should last</summary>" in text


def test_a_day_before_today_is_asked_again_at_its_field_with_all_that_was_typed(site):
    job = site.opened()
    answer = site.send(f"/job/{job}/close", **CLOSE | PARTS | UNTIL | {"until": "2020-01-01"})
    assert answer.status_code == 400
    assert marked(answer.text, "until")
    assert "<details open><summary>How long a work-around should last</summary>" in answer.text
    assert 'value="Northgate"' in answer.text
    assert site.get(job).closing is None


# --- what was said before the cause was told -----------------------------------------------------


def said(site, job):
    with site.store.read() as unit:
        closed = unit.jobs.get(job).closing
        return closed and unit.answers.closed(closed.closed, closed.closed).get(job)


def test_what_was_said_of_the_job_is_kept_with_its_close(site):
    job = site.opened(KEPT)
    form = fields(site.page(f"/job/{job}/close"))
    site.send(f"/job/{job}/close", **form | {"fix": "replaced"})
    shown = said(site, job)
    assert shown.causes[0][0] == "condenser_fan_dead"
    assert [row.check for row in shown.gains] == ["condenser_air_boost"]
    assert job not in shown.matches


def test_a_close_sent_twice_keeps_what_was_said_first(site):
    job = site.opened(KEPT)
    site.page(f"/job/{job}/close")
    site.send(f"/job/{job}/close", **CLOSE)
    shown = said(site, job)
    assert site.send(f"/job/{job}/close", **CLOSE).status_code == 302
    assert said(site, job) == shown is not None


def test_a_close_that_cannot_be_answered_is_a_close_all_the_same(site, monkeypatch):
    job = site.opened(KEPT)
    site.page(f"/job/{job}/close")
    monkeypatch.setattr("kb.workflow.answers_at_close.bits_told", lambda before, after: 1 / 0)
    assert site.send(f"/job/{job}/close", **CLOSE).status_code == 302
    assert site.get(job).is_case
    assert said(site, job) is None
