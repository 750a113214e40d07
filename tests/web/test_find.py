from tests.web.conftest import shown
from web.find import _MAX_QUESTION as MAX_QUESTION


def test_the_empty_page_asks(site):
    text = site.page("/find")
    assert 'name="q"' in text
    assert "Likely causes" not in text


def test_a_question_shows_what_was_understood_and_the_three_answers(site):
    text = site.page(
        "/find?q=no+crank+no+click;+batt+12.4+V;+volts+9;+vent+900F&vehicle=2016+Pellarin+Copse"
    )
    for part in ("Understood", "does not crank", "12.4 V", "Likely causes", "Seen before"):
        assert part in text
    assert 'href="/case/S3"' in text
    assert "<q>volts 9</q>" in text
    assert "got 900 °F" in text
    assert 'value="2016 Pellarin Copse"' in text


def test_why_a_case_is_there_is_said(site):
    assert "for: " in site.page("/find?q=no+crank+no+click")


def section(text, start, end):
    return text[text.index(start) : text.index(end, text.index(start))]


def test_each_cause_opens_its_reasons_without_a_script(site):
    text = site.page("/find?q=no+crank+no+click;+batt+12.4+V")
    causes = section(text, 'id="causes"', 'id="next"')
    assert causes.count("<details") == 5
    assert causes.count("<details open") == 1
    assert "<dt>For</dt>" in causes
    assert "<dt>Not known yet, would speak for it</dt>" in causes
    assert "no case here yet; from the trade&#39;s list" in causes
    assert 'href="/case/S3"' in causes
    assert "something else" in causes
    assert "<script" not in shown(text)


def test_where_nothing_is_like_it_the_nearest_are_folded_away_under_that_answer(site):
    text = site.page("/find?q=a+zorble+noise")
    answer = section(text, "Nothing like it here yet", "</section>")
    assert "Take the usual readings, then ask again." in answer
    for title in (
        "Nearest causes only",
        "Nearest cases only, none is like it",
        "Checks between the nearest causes",
    ):
        assert f"<details><summary>{title}</summary>" in answer
    assert "<details open" not in answer
    for title in ("Likely causes", "Seen before", "Next check"):
        assert title not in text


def test_a_question_that_is_too_long_is_kept_and_the_message_stands_at_the_field(site):
    long = "a" * (MAX_QUESTION + 1)
    text = site.page(f"/find?q={long}", 400)
    assert long in text
    assert 'aria-describedby="q-error"' in text
    assert str(MAX_QUESTION) in text


def test_a_shop_without_a_case_says_what_to_do(site):
    def empty(unit):
        unit.connection.exec_driver_sql("DELETE FROM jobs")
        unit.jobs.written = True

    site.write(empty)
    text = site.page("/find?q=no+crank")
    assert "close a job" in text
    assert "no crank" in text


def test_script_in_a_question_comes_back_escaped(site):
    evil = "<script>alert(1)</script>"
    answer = site.client.get("/find", query_string={"q": evil, "vehicle": evil})
    assert answer.status_code == 200
    assert "<script" not in shown(answer.text)
    assert "&lt;script&gt;" in answer.text
