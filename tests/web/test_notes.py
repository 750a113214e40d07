import pytest

from tests.web.conftest import shown
from web.rights import Role

SCRIPT = "<script>alert(1)</script>"
TYPED = {"title": "Fan first", "body": "Hear the **fan**.", "system": "hvac"}
FIELDS = {"title", "body", "system", "cause", "symptom", "make", "model"}


def notes(site):
    with site.store.read() as unit:
        return unit.notes.all()


def verbs(site):
    with site.store.read() as unit:
        return [line.verb for line in unit.history.since(0) if line.verb.startswith("note")]


def main_of(text):
    return text.partition("<main")[2].partition("</main>")[0]


# --- writing -------------------------------------------------------------------------------------


def test_a_note_is_written_from_nothing_and_listed_with_where_it_shows(site):
    assert "No note yet" in site.page("/notes")
    assert site.send("/notes", **TYPED, make="Pellarin").location == "/notes"
    text = site.page("/notes")
    assert "Fan first" in text
    assert "system: Heating and air conditioning; make: Pellarin" in text
    assert "/notes" in site.page("/week")
    assert "<strong>fan</strong>" in site.page(f"/note/{notes(site)[0].id}")


def test_a_row_of_the_week_fills_title_and_fields(site, row):
    text = site.page(f"/note/new?{row.query}")
    assert 'value="Comebacks of heating and air conditioning"' in text
    assert '<option value="hvac" selected>' in text
    site.send("/notes", **TYPED, week=row.week, row=row.key)
    (note,) = notes(site)
    assert (note.week, note.row_key) == (row.week, row.key)
    row.count(row.week)
    site.send("/notes", **TYPED, week=row.week, row=row.key)
    assert notes(site)[1].row_key is None


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"title": ""}, "title"),
        ({"body": ""}, "body"),
        ({"body": "[" * 301}, "body"),
        ({"system": "", "make": ""}, "system"),
        ({"cause": "zorble"}, "cause"),
        ({"model": "x" * 61}, "model"),
    ],
)
def test_what_is_wrong_stands_at_its_field_and_all_that_was_typed_is_kept(site, changes, field):
    typed = {"title": "Fan first", "body": "Hear it.", "system": "hvac", "make": "Pellarin"}
    answer = site.send("/notes", **(typed | changes))
    assert answer.status_code == 400
    assert answer.text.count("aria-invalid") == 1
    assert f'id="{field}-error"' in answer.text
    for value in (typed | changes).values():
        assert value in answer.text
    assert notes(site) == ()


def test_a_form_sent_twice_is_one_note(site):
    for _ in range(2):
        assert site.send("/notes", **TYPED, form_id="c" * 32).location == "/notes"
    assert verbs(site) == ["note written"]


def test_a_note_is_changed_taken_down_and_put_up_again(site):
    note = site.with_note()
    page = site.page(f"/note/{note}")
    assert "Take it down" in page
    assert site.send(f"/note/{note}", **TYPED, revision="1").location == f"/note/{note}"
    site.send(f"/note/{note}/active", active="no")
    assert "Taken down" in site.page(f"/note/{note}")
    assert "Taken down" in site.page("/notes")
    site.send(f"/note/{note}/active", active="yes")
    assert verbs(site) == [
        "note written",
        "note changed",
        "note taken down",
        "note put up again",
    ]


@pytest.mark.parametrize("revision", ["1", "", "x", "9" * 30])
def test_over_somebody_elses_change_nothing_is_written_and_nothing_lost(site, revision):
    note = site.with_note()
    site.send(f"/note/{note}", **(TYPED | {"title": "Theirs"}), revision="1")
    mine = TYPED | {"title": "Mine", "body": "My own words."}
    answer = site.send(f"/note/{note}", **mine, revision=revision)
    assert answer.status_code == 409
    for words in ("changed meanwhile", "Theirs", "Mine", "My own words."):
        assert words in answer.text
    assert 'name="revision" value="2"' in answer.text
    assert notes(site)[0].text.title == "Theirs"


def test_an_error_at_a_change_keeps_what_was_typed(site):
    note = site.with_note()
    answer = site.send(f"/note/{note}", **(TYPED | {"title": "", "body": "Mine."}), revision="1")
    assert answer.status_code == 400
    assert "Mine." in answer.text
    assert notes(site)[0].text.body == "Hear the *fan*."


def test_a_cause_that_was_joined_to_another_is_offered_as_the_other(site):
    note = site.with_note(cause="overcharge")
    site.send("/words/merge", kind="cause", key="overcharge", into="condenser_fan_dead")
    assert '<option value="condenser_fan_dead" selected>' in site.page(f"/note/{note}")


# --- on jobs -------------------------------------------------------------------------------------


def test_a_fitting_note_stands_above_what_was_seen_before(site):
    note = site.with_note(cause="condenser_fan_dead")
    text = site.page(f"/job/{site.opened()}")
    assert "Hear the <em>fan</em>." in text
    assert f'href="/note/{note}"' in text
    assert "From the shop: Ines" in text
    assert text.index("Fan first") < text.index("Seen before")
    assert "local codes, licences and the maker" in text


def test_a_note_that_does_not_fit_or_was_taken_down_is_not_shown(site):
    site.with_note(title="Of brakes", system="brakes")
    down = site.with_note()
    site.send(f"/note/{down}/active", active="no")
    text = site.page(f"/job/{site.opened()}")
    assert "Fan first" not in text
    assert "Of brakes" not in text


@pytest.mark.parametrize(
    "path",
    [
        "/find?q=cold+on+the+road,+warm+at+lights",
        "/answers?q=cold+on+the+road,+warm+at+lights",
        "/job/{job}/answers?text=fan+silent",
    ],
)
def test_questions_show_the_notes_that_fit_too(site, path):
    site.with_note()
    assert "Hear the <em>fan</em>." in site.page(path.format(job=site.opened()))


def test_a_note_stands_on_a_job_that_nothing_is_like(site):
    site.with_note(system="", make="Pellarin")
    job = site.opened("zorble", vehicle="2017 Pellarin Copse")
    text = site.page(f"/job/{job}")
    assert "Nothing like it here yet" in text
    assert "Fan first" in text


def test_script_in_a_note_never_reaches_a_page(site):
    body = f"{SCRIPT} <img src=x onerror=alert(1)> [a](javascript:alert(1)) # x\n\n# big"
    fields = {"title": SCRIPT, "make": SCRIPT, "model": SCRIPT}
    note = site.with_note(**fields, body=body)
    job = site.with_note(title=SCRIPT, body=body) and site.opened()
    for path in ("/notes", f"/note/{note}", f"/job/{job}"):
        text = main_of(shown(site.page(path)))
        for part in ("<script", "<img", 'href="javascript', "<h1>big"):
            assert part not in text, (path, part)
    assert "&lt;script&gt;" in site.page("/notes")


def test_who_only_sees_reads_notes_and_has_no_form(site):
    note = site.with_note()
    viewer = site.as_role(Role.TECHNICIAN)
    for path in ("/notes", f"/note/{note}"):
        text = viewer.page(path)
        assert "Fan first" in text
        assert 'name="title"' not in text
        assert "Write a note" not in text
        assert "Take it down" not in text
    viewer.page("/note/new", 403)


def test_the_form_has_a_label_for_each_field(site):
    text = site.page("/note/new")
    for name in FIELDS:
        assert f'<label for="{name}">' in text
        assert f'id="{name}"' in text
