import pytest

from kb.case.model import Vehicle
from kb.case.story import MAX_BYTES
from kb.errors import ConflictError, FieldsError, NotFoundError
from kb.store.notes import Pattern
from kb.workflow.notes import (
    change_note,
    from_row,
    note_html,
    set_active,
    write_note,
)
from kb.workflow.notes_shown import notes_for
from kb.workflow.week.rows import WeekRow
from tests.factories import a_case, a_job
from tests.kb.workflow.conftest import WORDS

TYPED = {"title": "Fan first", "body": "Hear the *fan*.", "system": "hvac"}
CAUSES = ("condenser_fan_dead", "overcharge", "low_charge_leak", "starter_worn")


def written(shop, row=None, **changes):
    return shop.write(write_note, TYPED | changes, words=WORDS, row=row)


def get(shop, note_id):
    with shop.store.read() as unit:
        return unit.notes.get(note_id)


# --- writing -------------------------------------------------------------------------------------


def test_a_note_is_kept_with_its_html_and_where_it_came_from(shop):
    note = get(shop, written(shop, ("2026-W47", "came_back:hvac"), title=" Fan \n first "))
    assert (note.text.title, note.text.body) == ("Fan first", "Hear the *fan*.")
    assert note.text.body_html == "<p>Hear the <em>fan</em>.</p>"
    assert note.text.pattern == Pattern(system="hvac")
    assert (note.week, note.row_key) == ("2026-W47", "came_back:hvac")


@pytest.mark.parametrize(
    ("changes", "field", "why"),
    [
        ({"title": " "}, "title", "expected a title"),
        ({"title": "x" * 121}, "title", "at most 120"),
        ({"body": "\r\n"}, "body", "got nothing"),
        ({"body": "x" * (MAX_BYTES + 1)}, "body", "at most 20000 bytes"),
        ({"body": "[" * 201}, "body", "at most 200"),
        ({"cause": "zorble"}, "cause", "got 'zorble'"),
        ({"symptom": "zorble"}, "symptom", "got 'zorble'"),
        ({"system": "zorble"}, "system", "got 'zorble'"),
        ({"make": "x" * 61}, "make", "at most 60"),
        ({"system": ""}, "system", "at least one"),
    ],
)
def test_each_field_that_cannot_be_taken_is_named(shop, changes, field, why):
    with pytest.raises(FieldsError) as error:
        written(shop, **changes)
    assert list(error.value.by_field) == [field]
    assert why in error.value.by_field[field]


@pytest.mark.source("OWASP XSS Filter Evasion Cheat Sheet", "basic tests; links and images")
@pytest.mark.parametrize(
    "body",
    [
        "<script>alert(1)</script>",
        "<img src=x onerror=alert(1)>",
        "[a](javascript:alert(1))",
        "<a href='&#106;avascript:alert(1)'>a</a>",
        "<svg/onload=alert(1)>",
        "<p style='background:url(javascript:alert(1))' onclick=alert(1)>a</p>",
    ],
)
def test_nothing_in_a_note_can_run(body):
    html = note_html(body).lower()
    for part in (
        "<script",
        "onerror",
        "onload",
        "onclick",
        "javascript:",
        "style=",
        "<img",
        "<svg",
    ):
        assert part not in html


def test_headings_of_a_note_stand_below_those_of_the_page():
    html = note_html("# One\n\nh1>\n\n### Three")
    assert html.count("<h4>") == html.count("</h4>") == 2
    assert "<h1" not in html
    assert "h1&gt;" in html


def test_a_change_over_another_change_is_refused_and_nothing_is_lost(shop):
    note_id = written(shop)
    shop.write(change_note, note_id, TYPED | {"title": "Fan last"}, words=WORDS, seen=1)
    with pytest.raises(ConflictError, match="changed meanwhile"):
        shop.write(change_note, note_id, TYPED | {"title": "Mine"}, words=WORDS, seen=1)
    assert get(shop, note_id).text.title == "Fan last"
    with pytest.raises(NotFoundError, match="got 77"):
        shop.write(change_note, 77, TYPED, words=WORDS, seen=1)


def test_a_change_that_changes_nothing_writes_nothing(shop):
    note_id = written(shop)
    shop.write(change_note, note_id, TYPED, words=WORDS, seen=1)
    assert get(shop, note_id).revision == 1


def test_a_note_is_taken_down_and_put_up_again_once_each(shop):
    note_id = written(shop)
    job = a_job(system="hvac")
    for active, shown in ((False, 0), (False, 0), (True, 1), (True, 1)):
        shop.write(set_active, note_id, active=active)
        with shop.store.read() as unit:
            assert len(notes_for(unit, job, None, words=WORDS)) == shown
    assert get(shop, note_id).revision == 3


def test_the_newest_note_stands_first(shop):
    first, second = written(shop), written(shop)
    with shop.store.read() as unit:
        found = notes_for(unit, a_job(system="hvac"), None, words=WORDS)
    assert [note.id for note in found] == [second, first]


# --- written from a row --------------------------------------------------------------------------


def test_a_rows_subject_fills_the_fields_that_it_names(shop):
    case = a_case("J1", vehicle=Vehicle(make="Dunmarrow", model="Packhorse", engine="2.4"))
    shop.write(lambda unit: unit.jobs.add(case, verb="import"))
    rows = {
        ("condenser_fan_dead",): Pattern(cause="condenser_fan_dead"),
        ("hvac",): Pattern(system="hvac"),
        ("ac_not_cold", "Dunmarrow", "Packhorse", "2.4"): Pattern(
            symptom="ac_not_cold", make="Dunmarrow", model="Packhorse"
        ),
        ("fan clutch", "Northgate"): Pattern(),
    }
    for subject, pattern in rows.items():
        row = WeekRow(kind="rising_cause", subject=subject, cases=("J1",))
        with shop.store.read() as unit:
            assert from_row(unit, row, WORDS) == pattern
