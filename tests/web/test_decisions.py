from datetime import date
from urllib.parse import urlsplit

import pytest

from kb.case.model import Proof
from kb.case.standing import standing_of
from kb.store.decisions import Plan
from kb.workflow.decisions import mark_of
from kb.workflow.week.rows import WeekRow
from tests.factories import a_case, a_closing
from tests.web.conftest import Row, shown
from web.rights import Role

SCRIPT = "<script>alert(1)</script>"
FORM_ID = "b" * 32


def decision(site, number):
    with site.store.read() as unit:
        return unit.decisions.get(number)


def lines(site, start="decision"):
    with site.store.read() as unit:
        found = [line for line in unit.history.since(0) if line.verb.startswith(start)]
    return [(line.who, line.verb) for line in found]


def send(site, number, path="", **form):
    """Send one form of a decision's page as it was shown."""
    form = {"seen": mark_of(decision(site, number))} | form
    return site.send(f"/week/decision/{number}{path}", **form)


# --- deciding ------------------------------------------------------------------------------------


def test_a_row_leads_to_its_form_and_the_decision_stands_at_the_row_and_above(site, row):
    text = site.page(f"/week?week={row.week}")
    assert f"/week/decide?week={row.week}&amp;row={row.key}" in text
    assert 'id="decided"' not in text
    form = site.page(f"/week/decide?{row.query}")
    assert "Comebacks of heating and air conditioning." in form
    assert "4 of 30" in form
    assert '<option value="shop">' in form
    answer = row.send()
    assert urlsplit(answer.location).path == "/week"
    text = site.page(f"/week?week={row.week}")
    assert 'id="decided"' in text
    assert text.count("Look at the last three") == 2
    assert "open: Mara, by 2199-12-31" in text


@pytest.mark.parametrize("field", ["what", "owner", "due"])
def test_what_is_wrong_stands_at_its_field_and_all_that_was_typed_is_kept(site, row, field):
    answer = row.send(**{field: " "}, form_id=FORM_ID)
    assert answer.status_code == 400
    assert f'id="{field}-error"' in answer.text
    assert f'aria-describedby="{field}-error"' in answer.text
    assert answer.text.count("aria-invalid") == 1
    for name, value in row.typed.items():
        assert name == field or value in answer.text
    assert f'name="form_id" value="{FORM_ID}"' in answer.text
    assert lines(site, "decided") == []


def test_a_form_sent_twice_is_one_decision(site, row):
    first, second = row.send(form_id=FORM_ID), row.send(form_id=FORM_ID)
    assert first.location == second.location
    assert lines(site, "decided") == [("shop", "decided")]


def test_two_people_who_decide_about_one_row_see_each_other(site, row):
    foreman = site.as_role(Role.FOREMAN)
    row.decided()
    answer = row.send(foreman, what="Order two fans", owner="Jon")
    assert answer.status_code == 409
    assert "Look at the last three" in answer.text
    assert "Order two fans" in answer.text
    assert "Save mine as well" in answer.text
    assert lines(site, "decided") == [("shop", "decided")]
    (seen,) = [part for part in answer.text.split("<input") if 'name="seen"' in part]
    known = seen.split('value="')[1].split('"')[0]
    assert row.send(foreman, what="Order two fans", seen=known).status_code == 302
    assert lines(site, "decided") == [("shop", "decided"), ("the foreman", "decided")]


def test_a_row_that_is_gone_loses_nothing_that_was_typed(site, row):
    row.count(row.week)
    answer = row.send(what="Order two fans")
    assert answer.status_code == 404
    assert "not in its week any more" in answer.text
    assert "Order two fans" in answer.text
    assert site.send("/week/decide", week="x", row="y").status_code == 400


def test_script_in_a_decision_is_shown_as_it_was_typed(site, row):
    number = row.decided(what=SCRIPT, owner=SCRIPT)
    send(site, number, "/settle", state="done", outcome=SCRIPT)
    for path in ("/week", f"/week?week={row.week}", f"/week/decision/{number}"):
        text = shown(site.page(path))
        assert "<script" not in text
        assert "&lt;script&gt;" in text


# --- what became of it ---------------------------------------------------------------------------


def test_next_weeks_page_says_what_the_row_says_now(site, row):
    row.decided()
    row.count("2026-W47", WeekRow(kind="came_back", subject=("hvac",), numbers={"n": 7}))
    assert "still there. Then: 4 of 30. Now: 7 of 30" in site.page("/week?week=2026-W47")
    row.count("2026-W47")
    text = site.page("/week?week=2026-W47")
    assert "gone from this week&#39;s list" in text
    assert "About 2026-W46: Comebacks of heating and air conditioning.<" in text


def test_an_overdue_decision_says_so_in_words_and_leads(site, row):
    row.decided(what="later")
    with site.store.read() as unit:
        known = ",".join(str(one.id) for one in unit.decisions.open_about(row.key))
    late = row.decided(what="sooner", seen=known, due="2198-01-01")
    plan = Plan(what="sooner", owner="Jon", due=date(2026, 1, 5))
    site.write(lambda unit: unit.decisions.change(late, plan))
    text = site.page("/week")
    assert "overdue: Jon, was due 2026-01-05" in text
    assert text.index("sooner") < text.index("later")
    assert "<strong>overdue</strong>" in site.page(f"/week/decision/{late}")


# --- changing and settling -----------------------------------------------------------------------


def test_a_decision_is_changed_settled_and_taken_up_again(site, row):
    number = row.decided()
    changed = row.typed | {"owner": "Jon"}
    assert send(site, number, **changed).location.startswith("/week")
    assert send(site, number, "/settle", state="done", outcome="a loose clamp").status_code == 302
    text = site.page(f"/week/decision/{number}")
    assert "a loose clamp" in text
    assert "Change it" not in text
    assert "done on " in site.page("/week")
    assert send(site, number, "/again").location == f"/week/decision/{number}"
    assert decision(site, number).is_open
    assert [verb for _, verb in lines(site)] == [
        "decision changed",
        "decision done",
        "decision taken up again",
    ]


@pytest.mark.parametrize(
    ("form", "field"),
    [
        ({"state": "done", "outcome": " "}, "outcome"),
        ({"state": "lost", "outcome": "x"}, "state"),
        ({"state": "done", "outcome": "x" * 501}, "outcome"),
    ],
)
def test_what_cannot_be_settled_says_why_at_its_field(site, row, form, field):
    number = row.decided()
    answer = send(site, number, "/settle", **form)
    assert answer.status_code == 400
    assert f'id="{field}-error"' in answer.text
    assert form["outcome"].strip() in answer.text
    assert decision(site, number).is_open


@pytest.mark.parametrize(
    ("what", "form"),
    [
        ("", {"what": "mine", "owner": "Jon", "due": "2199-01-01"}),
        ("/settle", {"state": "done", "outcome": "mine"}),
        ("/again", {"outcome": "mine"}),
    ],
)
def test_over_somebody_elses_change_nothing_is_written_and_nothing_lost(site, row, what, form):
    number = row.decided()
    seen = mark_of(decision(site, number))
    send(site, number, **(row.typed | {"what": "theirs"}))
    answer = send(site, number, what, seen=seen, **form)
    assert answer.status_code == 409
    assert "changed meanwhile" in answer.text
    assert "theirs" in answer.text
    assert "mine" in answer.text
    assert decision(site, number).plan.what == "theirs"


def test_settled_twice_with_one_form_is_settled_once(site, row):
    number = row.decided()
    seen = mark_of(decision(site, number))
    form = {"state": "done", "outcome": "x", "seen": seen, "form_id": FORM_ID}
    for _ in range(2):
        assert send(site, number, "/settle", **form).location == "/week#decided"
    assert [verb for _, verb in lines(site)] == ["decision done"]


def test_who_only_sees_reads_decisions_and_has_no_form(site, row):
    number = row.decided()
    viewer = site.as_role(Role.TECHNICIAN)
    for path in (f"/week?week={row.week}", f"/week/decision/{number}"):
        text = viewer.page(path)
        assert "Look at the last three" in text
        assert 'name="seen"' not in text
        assert "/week/decide" not in text
    viewer.page(f"/week/decide?{row.query}", 403)


# --- what held -----------------------------------------------------------------------------------


def test_cases_past_their_period_are_marked_by_one_press(site, row):
    went = (Proof(method="came_and_went", text="gone with the new fan"),)
    closing = a_closing(proofs=went, closed=date(2025, 5, 5))
    site.put(*(a_case(f"J{at}", closing=closing) for at in (1, 2)))
    held = Row(site, "held", ("J1", "J2"))
    page = f"/week?week={held.week}"
    assert "Mark 2 cases as held" in site.page(page)
    assert "as held" not in site.as_role(Role.TECHNICIAN).page(page)
    answer = site.send("/week/held", week=held.week)
    assert answer.status_code == 302
    assert [standing_of(site.get(job)).value for job in ("J1", "J2")] == ["proven"] * 2
    assert "as held" not in site.page(page)
    assert "No case of this row is left to mark." in site.page(page)
    assert "the shop’s holding period passed" in site.page("/case/J1")


def test_a_press_for_a_week_without_such_a_row_marks_nothing(site, row):
    assert site.send("/week/held", week=row.week).status_code == 302
    assert lines(site, "held") == []
    assert site.send("/week/held", week="x").status_code == 400
