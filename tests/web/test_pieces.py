import re

import pytest

from kb.case.amend import pieces_of
from kb.case.amend_readings import readings_of
from kb.workflow.corrections import mark_of
from tests.web.conftest import Browser, closed_case, session_for
from web.pieces import MOST_ASKED
from web.rights import Role

LINE = "cold on the road, warm at lights; low 58 hi 318 amb 91 vent 68F; blorf"
ASKED = "low side 2.5; comp 178; hi 9000"


def sent(site, job_id, **form):
    return site.send(f"/job/{job_id}/correct", **form)


def tap(site, job_id, kind="reading", index="1", change="unit:kPa", **form):
    return sent(site, job_id, kind=kind, index=index, change=change, **form)


def chip(text, id_):
    (found,) = re.findall(rf'<li id="{id_}">.*?(?=<li id=|</section>)', text, re.DOTALL)
    return found


def test_one_tap_corrects_a_unit_and_lands_at_the_pieces(site):
    job_id = site.opened(LINE)
    answer = tap(site, job_id)
    assert (answer.status_code, answer.location) == (302, f"/job/{job_id}#pieces")
    job = site.get(job_id)
    assert readings_of(job)[1][1].unit == "kPa"
    assert job.lines == (LINE,)
    text = site.page(f"/job/{job_id}")
    assert "318 kPa" in chip(text, "reading-1")
    assert 'id="pieces"' in text


def test_the_buttons_of_a_chip_are_what_the_form_takes(site):
    job_id = site.opened(LINE)
    part = chip(site.page(f"/job/{job_id}"), "reading-1")
    fields = dict(re.findall(r'type="hidden" name="(\w+)" value="([^"]*)"', part))
    fields |= dict(re.findall(r'type="hidden" name="(form_id)" value="([^"]*)"', part))
    assert fields["seen"] == mark_of(readings_of(site.get(job_id))[1])
    for change in re.findall(r'name="change" value="([^":]+:[^"]+)"', part):
        assert change.partition(":")[0] in {"unit", "quantity", "phase", "place"}
    assert 'value="unit:kPa"' in part
    assert 'value="phase:after"' in part
    fields["change"] = "phase:after"
    assert site.send(f"/job/{job_id}/correct", **fields).status_code == 302
    assert [row.phase for row in site.get(job_id).reading_sets] == ["before", "after"]


def test_a_refused_correction_says_why_at_its_chip_and_leaves_the_job(site):
    job_id = site.opened(LINE)
    before = site.get(job_id)
    answer = tap(site, job_id, change="unit:bar")
    assert answer.status_code == 400
    part = chip(answer.text, "reading-1")
    assert "<details open>" in part
    assert "did you mean psi or kPa?" in part
    assert answer.text.count('role="alert"') == 1
    assert site.get(job_id) == before


def test_what_was_typed_into_a_refused_field_stays_there(site):
    job_id = site.opened("smoke test 15 min no leak")
    answer = tap(site, job_id, "finding", "0", change="minutes", value="soon")
    part = chip(answer.text, "finding-0")
    assert answer.status_code == 400
    assert 'value="soon" aria-invalid="true" autofocus aria-describedby="finding-0-error"' in part
    assert 'id="finding-0-error"' in part


def test_a_field_takes_the_words_of_the_trade(site):
    job_id = site.opened("no crank")
    tap(site, job_id, "symptom", "0", change="when", value="When Hot")
    assert "engine_hot" in site.get(job_id).symptoms[0].conditions
    said = site.words.symptoms["starter_grinds"].say
    tap(site, job_id, "symptom", "0", change="concept", value=said.upper())
    assert site.get(job_id).symptoms[0].concept == "starter_grinds"


@pytest.mark.parametrize(
    "form",
    [
        {"index": "99"},
        {"index": "-1"},
        {"index": "²"},
        {"index": "1" * 40},
        {"index": ""},
        {"kind": "job"},
        {"kind": "<script>alert(1)</script>"},
        {"change": "typed:999"},
        {"change": "__class__:x"},
        {"change": "unit:<script>alert(1)</script>"},
        {"change": ""},
        {"change": "place", "value": "x" * 5000},
        {"change": "place", "value": "a\0b"},
        {"seen": "0" * 12},
    ],
)
def test_hostile_values_are_refused_in_words_and_the_job_stays(site, form):
    job_id = site.opened(LINE)
    before = site.get(job_id)
    answer = tap(site, job_id, **form)
    assert answer.status_code in {400, 409}
    assert 'role="alert"' in answer.text
    assert "expected" in answer.text
    assert "<script>alert" not in answer.text
    assert site.get(job_id) == before


def test_a_script_as_a_place_is_shown_as_it_was_typed(site):
    job_id = site.opened(LINE)
    assert tap(site, job_id, change="place", value="<b onclick=x>").status_code == 302
    text = site.page(f"/job/{job_id}")
    assert "&lt;b onclick=x&gt;" in text
    assert "<b onclick" not in text


def test_two_people_never_correct_over_each_other(site):
    job_id = site.opened(LINE)
    assert tap(site, job_id, revision="1").status_code == 302
    answer = tap(site, job_id, index="0", revision="1")
    assert answer.status_code == 409
    assert "Somebody changed" in answer.text
    assert readings_of(site.get(job_id))[0][1].unit == "psi"


def test_a_form_sent_twice_is_one_correction(site):
    job_id = site.opened(LINE)
    for _ in range(2):
        assert tap(site, job_id, form_id="a" * 32).status_code == 302
    assert [row.verb for row in site.history(job_id)] == ["open", "correct"]


def test_somebody_who_only_looks_sees_the_pieces_and_no_button_of_theirs(site):
    job_id = site.opened(f"{LINE}; {ASKED}")
    viewer = Browser(site.app, session_for(site.store, Role.VIEWER))
    text = viewer.page(f"/job/{job_id}")
    assert "High-side pressure, running: 318 psi" in text
    assert "Asked back:" in text
    assert "/correct" not in text
    assert '/answer"' not in text
    form = {"kind": "reading", "index": "0", "change": "out:"}
    assert viewer.send(f"/job/{job_id}/correct", **form).status_code == 403


def test_a_closed_job_takes_no_correction(site):
    assert tap(site, "S1").status_code == 409


@pytest.mark.parametrize("kind", ["symptom", "reading"])
def test_a_piece_taken_out_leaves_the_typed_line(site, kind):
    job_id = site.opened(LINE)
    count = len(pieces_of(site.get(job_id), kind))
    tap(site, job_id, kind, "0", change="out:")
    job = site.get(job_id)
    assert len(pieces_of(job, kind)) == count - 1
    assert job.lines == (LINE,)


def test_the_answers_follow_a_correction(site):
    for number in range(6):
        site.put(
            closed_case(f"S1{number}", f"vents warm; low {20 + number} psi", "low_charge_leak"),
            closed_case(f"S2{number}", f"vents warm; low {60 + number} psi", "overcharge"),
        )
    job_id = site.opened("vents warm; low 62 psi")
    memory = site.app.extensions["baybook"]
    before = memory.suggest(site.get(job_id))
    tap(site, job_id, index="0", change="unit:kPa")
    after = memory.suggest(site.get(job_id))
    assert before.causes[0].cause == "overcharge"
    assert after.causes[0].cause == "low_charge_leak"


# --- the typed lines and what is asked back ---------------------------------------------------


def test_typed_lines_stand_once_with_unread_words_underlined(site):
    job_id = site.opened(LINE)
    text = site.page(f"/job/{job_id}")
    assert 'class="unread">blorf<span class="aside"> (not understood)</span></span>' in text
    assert '<span class="piece">hi 318</span>' in text
    assert text.count("High-side pressure, running: 318 psi") == 1
    assert "On record" not in text


def point(text, key):
    (found,) = [part for part in text.split('<li class="point"') if f'value="{key}"' in part]
    return found


def test_a_question_is_answered_with_one_tap_and_not_asked_back(site):
    job_id = site.opened(ASKED)
    key = "low side 2.5 (line 1, sign 1)"
    part = point(site.page(f"/job/{job_id}"), key)
    assert re.findall(r'name="option" value="([^"]+)"', part) == ["psi", "bar"]
    answer = site.send(f"/job/{job_id}/answer", point=key, option="bar")
    assert answer.location == f"/job/{job_id}#pieces"
    assert [row.unit for _, row in readings_of(site.get(job_id))] == ["bar"]
    assert f'value="{key}"' not in site.page(f"/job/{job_id}")


def test_more_than_three_questions_are_folded_and_one_that_is_refused_opens(site):
    job_id = site.opened(f"{ASKED}; 36/190; 14.6 V")
    text = site.page(f"/job/{job_id}")
    assert "<details><summary>2 more to say again</summary>" in text
    assert re.findall(r'id="(point-\d)"', text) == [f"point-{number}" for number in range(1, 6)]
    (key,) = re.findall(r'name="point" value="(14.6 V [^"]+)"', text)
    answer = site.send(f"/job/{job_id}/answer", point=key, option="wrong")
    assert answer.status_code == 400
    assert "<details open><summary>2 more to say again</summary>" in answer.text


def test_a_question_may_be_left_as_typed(site):
    job_id = site.opened(ASKED)
    before = site.get(job_id)
    site.send(f"/job/{job_id}/answer", point="hi 9000 (line 1, sign 25)")
    assert site.get(job_id) == before
    assert "Cannot be right" not in site.page(f"/job/{job_id}")


@pytest.mark.parametrize(
    "form",
    [
        {"point": "low side 2.5 (line 1, sign 1)", "option": "<script>alert(1)</script>"},
        {"point": "<script>alert(1)</script>", "option": "psi"},
        {},
    ],
)
def test_an_answer_that_fits_nothing_is_refused_in_words(site, form):
    job_id = site.opened(ASKED)
    before = site.get(job_id)
    answer = site.send(f"/job/{job_id}/answer", **form)
    assert answer.status_code == 400
    assert answer.text.count('role="alert"') == 1
    assert "<script>alert" not in answer.text
    assert site.get(job_id) == before


def test_no_two_things_on_a_long_job_share_a_name(site):
    job_id = site.opened(LINE)
    for text in (ASKED, "36/190; 14.6 V", "new alternator, same; p0301; swapped coil 2 to 3 moved"):
        site.send(f"/job/{job_id}/add", text=text)
    names = re.findall(r'\sid="([^"]+)"', site.page(f"/job/{job_id}"))
    assert len(names) == len(set(names))


def test_of_very_many_pieces_some_are_asked_back_at_a_time(site):
    job = site.opened("61F\n" * (MOST_ASKED + 3))
    text = site.page(f"/job/{job}")
    assert text.count('class="point"') == MOST_ASKED
    assert "3 more come up when these are settled." in text
    hidden = "61F (line 1, sign 49)"
    answer = site.send(f"/job/{job}/answer", point=hidden, option="Ambient air temperature")
    assert answer.status_code == 302
    assert "2 more come up when these are settled." in site.page(f"/job/{job}")
