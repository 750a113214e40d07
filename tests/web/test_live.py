import re

import pytest

LINE = "cold on the road, warm at lights"


def ids(text):
    return re.findall(r'^<div id="([^"]+)"', text, re.MULTILINE)


@pytest.mark.parametrize("path", ["/answers?q=no+crank", "/answers?text=no+crank"])
def test_one_answer_fills_both_places_and_is_no_page(site, path):
    text = site.page(path)
    assert ids(text) == ["understood-live", "answers"]
    assert "<html" not in text
    assert "<nav" not in text
    assert "does not crank" in text
    assert "Likely causes" in text


def test_the_places_stand_on_every_page_with_a_box(site):
    job = site.opened(LINE)
    for path, live in (
        ("/", "/answers"),
        ("/find", "/answers"),
        ("/find?q=no+crank", "/answers"),
        (f"/job/{job}", f"/job/{job}/answers"),
    ):
        text = site.page(path)
        assert f'data-live="{live}"' in text
        for name in ("understood-live", "answers"):
            assert len(re.findall(rf'id="{name}" aria-live="polite"', text)) == 1


def test_a_job_is_answered_as_it_would_be_and_nothing_is_stored(site):
    job_id = site.opened("no crank")
    before, seen = site.get(job_id), site.store.generation()
    text = site.page(f"/job/{job_id}/answers?text=hi+318+psi+low+58+psi;+blorf")
    assert "318 psi" in text
    assert "<q>blorf</q>" in text
    assert "Likely causes" in text
    assert site.get(job_id) == before
    assert site.store.generation() == seen
    with site.store.read() as unit:
        assert "blorf" not in unit.unread.of(job_id)


def test_the_text_in_the_box_changes_the_answers(site):
    job_id = site.opened("no crank")
    now = site.page(f"/job/{job_id}/answers")
    then = site.page(f"/job/{job_id}/answers?text=cold+on+the+road+warm+at+lights+hi+318")
    assert now[now.index('id="answers"') :] != then[then.index('id="answers"') :]


def test_an_empty_box_leaves_the_answers_of_the_job_and_none_of_a_question(site):
    job_id = site.opened(LINE)
    text = site.page(f"/job/{job_id}/answers")
    assert '<div id="understood-live"></div>' in text
    assert "Likely causes" in text
    assert '<div id="answers"></div>' in site.page("/answers?q=+")


@pytest.mark.parametrize("query", ["q=" + "x" * 4001, "q=a%00b", "q=no+crank&vehicle=%00"])
def test_what_is_too_long_or_no_text_is_refused_in_a_short_part(site, query):
    job_id = site.opened(LINE)
    for path in (f"/answers?{query}", f"/job/{job_id}/answers?{query}"):
        text = site.page(path, 400)
        assert ids(text) == ["understood-live", "answers"]
        assert "expected" in text
        assert len(text) < 500


def test_a_closed_and_an_unknown_job_are_answered_in_a_short_part(site):
    assert "closed" in site.page("/job/S1/answers", 400)
    assert len(site.page("/job/J404/answers", 404)) < 500


def test_script_in_the_box_is_shown_as_typed(site):
    text = site.page("/answers?q=<script>alert(1)</script>&vehicle=<b>")
    assert "<script>" not in text
