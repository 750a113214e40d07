import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from html import unescape

import pytest

from kb.case.iso_week import IsoWeek
from kb.case.terms import load_vocabulary
from kb.store.decisions import About, Plan
from kb.store.engine import default_url
from kb.workflow import review
from kb.workflow.trust import keep_trust, measure_trust
from kb.workflow.week.rows import KINDS, Level, WeekRow, key_of
from tests.factories import a_closing, a_job, make_store
from tests.web.conftest import PATIENT, QUICK, Browser, session_for
from tests.web.test_kept_parts import bare
from web import create_app, db
from web.rights import Role
from web.week_words import rows as said_rows
from web.week_words.said import Said

WORDS = load_vocabulary()


@pytest.fixture
def newest():
    """Return the newest week that is over."""
    return IsoWeek.last_whole(db.today())


@pytest.fixture
def counted(monkeypatch):
    """Let the week have these rows, said by their keys; return how often it was counted."""
    times = []

    def give(*rows):
        def topic(seen):
            times.append(seen.week)
            return rows

        monkeypatch.setattr(review, "TOPICS", (topic,))
        say = dict.fromkeys(KINDS, lambda row, words: Said(what=f"{row.key} stands out."))
        monkeypatch.setattr(said_rows, "SAY", say)
        return times

    return give


def a_row(kind="old_job", *subject, level=Level.ACT, **known):
    return WeekRow(kind=kind, subject=subject, level=level, **known)


def test_a_week_is_shown_with_its_days_its_jobs_and_when_it_was_counted(site, newest):
    job = replace(site.get("S1"), id="S9", closing=a_closing(closed=newest.monday))
    site.put(job)
    text = site.page("/week")
    assert f"<h1>Week {newest}</h1>" in text
    assert f"Monday {newest.monday} to Sunday {newest.sunday}." in text
    assert "Jobs closed: 1, with a proven cause: 1. Counted " in text


def test_where_nothing_is_firm_the_page_says_so(site, counted):
    counted(a_row(level=Level.KNOW))
    text = site.page("/week")
    assert "Nothing in this week is firm enough for a decision" in text
    assert (
        '<strong>Open a long time</strong><span class="week-screen">: old_job stands out.' in text
    )


def test_a_card_names_what_is_of_the_same_matter_and_leads_to_it(site, counted):
    cases = ("S1", "S2")
    counted(
        a_row("rising_cause", "leak", cases=cases),
        a_row("rising_pair", "leak", "x", cases=cases),
        a_row("rising_complaint", "warm", cases=cases),
        a_row("old_job"),
    )
    first, rest = site.page("/week").split('id="rest"')
    assert first.count("<h3>") == 2
    for key in ("rising_pair:leak:x", "rising_complaint:warm"):
        (anchor,) = [
            part.split('"')[0] for part in first.split('href="#')[1:] if f">{key} " in part
        ]
        assert f'id="{anchor}"' in rest
    assert '<a class="line" href="/case/S2">S2</a>' in first


def test_weeks_lead_to_each_other_up_to_the_newest_whole_one(site, newest):
    site.put(a_job("J9", opened=newest.shifted(-1).monday))
    text = site.page(f"/week?week={newest.shifted(-1)}")
    assert f'href="/week?week={newest}" rel="next">Later' in text
    first = review.first_week(site.store)
    assert first is not None
    assert f'href="/week?week={newest.shifted(-2)}" rel="prev">Earlier' in text
    text = site.page("/week")
    assert 'rel="next"' not in text
    assert 'rel="prev"' in text
    assert 'rel="prev"' not in site.page(f"/week?week={first}")


def test_the_running_week_is_marked_and_leads_back(site, newest, counted):
    times = counted()
    running = newest.shifted(1)
    text = site.page(f"/week?week={running}")
    assert f"<h1>Week {running}, still running</h1>" in text
    assert f'href="/week">Newest: {newest}' in text
    assert times == [running]


def test_weeks_ahead_and_before_the_first_job_are_not_counted(site, newest, counted):
    times = counted()
    first = review.first_week(site.store)
    assert first is not None
    ahead = site.page(f"/week?week={newest.shifted(2)}")
    assert "This week has not begun" in ahead
    before = site.page(f"/week?week={first.shifted(-1)}")
    assert f"lies before the first job, which is of {first}." in before
    for text in (ahead, before):
        assert "Count again" not in text
        assert 'href="/week">Newest' in text
    site.send("/week/again", week=str(newest.shifted(2)))
    assert times == []


def test_a_shop_without_a_job_is_told_so(tmp_path, counted):
    times = counted()
    make_store(default_url(tmp_path))
    app = create_app(
        {"HOME": tmp_path, "STORE_URL": default_url(tmp_path), "HASHER": QUICK, **PATIENT}
    )
    store = app.extensions["baybook"].store
    made = Browser(app, session_for(store, Role.OWNER))
    assert "No job is written down yet." in made.page("/week")
    assert times == []
    store.close()


@pytest.mark.parametrize("typed", ["2026-W77", "47", "9999-W52", "0001-W01", "x" * 300])
def test_a_week_that_does_not_exist_is_said_and_the_newest_one_shown(site, newest, typed):
    text = site.page(f"/week?week={typed}", 400)
    assert "expected a week like 2026-W47" in text
    assert f"<h1>Week {newest}</h1>" in text


def test_a_week_is_counted_by_its_first_view_and_again_when_told(site, newest, counted):
    times = counted(a_row())
    site.page("/week")
    site.page("/week")
    assert times == [newest]
    answer = site.send("/week/again", week=str(newest))
    assert answer.location == f"/week?week={newest}"
    assert times == [newest, newest]


def test_only_who_decides_may_count_again(site, newest, counted):
    times = counted(a_row())
    assert "Count again" in site.page("/week")
    for role in (Role.VIEWER, Role.TECHNICIAN, Role.ADVISOR):
        browser = site.as_role(role)
        assert "Count again" not in browser.page("/week")
        assert browser.send("/week/again", week=str(newest)).status_code == 403
    assert "Count again" in site.as_role(Role.FOREMAN).page("/week")
    assert times == [newest]


def test_while_another_process_counts_the_page_says_so_and_leads_back_to_itself(site, newest):
    with site.store.write("x", datetime.now(UTC)) as unit:
        assert unit.reviews.claim(str(newest))
    text = site.page("/week")
    assert "being counted right now" in text
    assert f'<a class="line" href="/week?week={newest}">Look again</a>' in text
    assert "For a decision" not in text


def test_counting_that_failed_is_tried_again_by_the_next_view(site, monkeypatch, counted):
    def fails(_):
        raise ZeroDivisionError

    monkeypatch.setattr(review, "TOPICS", (fails,))
    site.page("/week", 500)
    counted(a_row())
    assert "old_job stands out." in site.page("/week")


def test_more_than_eight_cases_are_folded(site, counted):
    counted(a_row(cases=tuple(f"S{at}" for at in range(11))))
    text = site.page("/week")
    assert "<summary>3 more</summary>" in text
    assert all(f'href="/case/S{at}"' in text for at in range(11))


def test_the_days_of_the_shown_week_are_those_of_its_jobs(site, newest):
    days = [newest.monday - timedelta(days=1), newest.monday, newest.sunday]
    site.put(
        *(
            replace(site.get("S1"), id=f"S9{at}", closing=a_closing(closed=day))
            for at, day in enumerate(days)
        )
    )
    assert "Jobs closed: 2," in site.page("/week")


def test_rows_shown_again_are_what_they_would_be_drawn_anew(site, newest, counted):
    kept, seen = site.app.extensions["baybook_kept_parts"], []

    def look(browser=site):
        shown = [bare(browser.page("/week")) for _ in range(2)]
        kept.clear()
        assert {*shown, bare(browser.page("/week"))} == {shown[0]}
        seen.append(shown[0].split('id="rest"')[0])

    def decide(key, what):
        about = About(week=str(newest), row_key=key, said="x")
        with site.store.write("x", datetime.now(UTC)) as unit:
            unit.decisions.add(about, Plan(what=what, owner="Ines", due=newest.sunday))

    counted(a_row(), a_row("held", cases=("S1",)), a_row("failed_part", "a"))
    look()
    decide("failed_part:a", "call <them>")
    look()
    decide("old_job", "tidy up")
    look()
    with site.store.write("x", datetime.now(UTC)) as unit:
        unit.decisions.settle(1, state="done", outcome="called")
    look()
    look(site.as_role(Role.VIEWER))
    counted(a_row(), a_row("held", cases=("S1", "S2")))
    site.send("/week/again", week=str(newest))
    look()
    assert len(set(seen)) == len(seen)


def test_how_far_to_trust_the_chances_is_that_of_the_newest_measure(site, counted):
    counted(a_row())
    heading = "<strong>How far to trust the chances</strong>"
    assert heading not in site.page("/week")
    site.put(*(replace(site.get("S1"), id=f"S1{number}") for number in range(3)))
    asked = []
    for newest in (2, 3):
        memory = site.memory()
        keep_trust(site.home, measure_trust(memory, today=site.today, newest=newest))
        (found,) = re.findall(rf"{heading}: (\d+) closed jobs", site.page("/week"))
        asked.append(int(found))
    assert asked == [2, 3]


# --- on Today ------------------------------------------------------------------------------------


def waits(browser, newest):
    return f'href="/week">Week {newest} waits for a decision</a>' in browser.page("/")


def test_today_leads_who_decides_to_a_week_that_waits_and_never_counts(site, newest, counted):
    times = counted(a_row())
    assert not waits(site, newest)
    assert times == []
    site.page("/week")
    assert waits(site, newest)
    assert waits(site.as_role(Role.FOREMAN), newest)
    assert not waits(site.as_role(Role.TECHNICIAN), newest)


def test_today_says_nothing_where_nothing_is_firm_or_a_decision_was_taken(site, newest, counted):
    counted(a_row(level=Level.KNOW))
    site.page("/week")
    assert not waits(site, newest)
    counted(a_row())
    site.send("/week/again", week=str(newest))
    assert waits(site, newest)
    with site.store.write("x", datetime.now(UTC)) as unit:
        about = About(week=str(newest), row_key="old_job", said="x")
        unit.decisions.add(about, Plan(what="call", owner="Ines", due=newest.sunday))
    assert not waits(site, newest)


@pytest.mark.parametrize("typed", ["1/2", "x&row=y", "<b>x</b>", "a:b%3Ac", "\u202e", "é" * 300])
def test_a_row_of_any_name_leads_to_its_own_decision(site, newest, counted, typed):
    counted(a_row("failed_part", typed, "y"), a_row("failed_part", f"{typed}:y"))
    text = site.page("/week")
    links = re.findall(r'href="(/week/decide\?[^"]+)"', text)
    assert len(set(links)) == 2
    keys = {
        key
        for link in links
        for key in re.findall(r'name="row" value="([^"]*)"', site.page(unescape(link)))
    }
    assert {unescape(key) for key in keys} == {
        key_of("failed_part", typed, "y"),
        key_of("failed_part", f"{typed}:y"),
    }


@pytest.mark.parametrize("row", ["", "old_job:x", "//evil.example/", "https://evil.example/"])
def test_a_row_that_its_week_does_not_have_is_refused_everywhere(site, newest, counted, row):
    counted(a_row())
    site.page("/week")
    about = {"week": str(newest), "row": row}
    decided = site.send("/week/decide", **about, what="x", owner="y", due="2199-12-31", seen="")
    assert decided.status_code == 404
    assert site.client.get("/week/decide", query_string=about).status_code == 404
    if row:
        assert site.client.get("/note/new", query_string=about).status_code == 404
    with site.store.read() as unit:
        assert unit.decisions.about_week(str(newest)) == ()


def test_signs_that_steer_or_turn_the_text_never_stand_in_a_row(site, counted, monkeypatch):
    counted(a_row())
    steer = "pump\x1b[2J\u202e\u2066 of\tS\n"
    said = Said(what=steer, numbers=steer, do=steer)
    monkeypatch.setattr(said_rows, "SAY", dict.fromkeys(KINDS, lambda row, words: said))
    text = site.page("/week")
    assert "pump[2J of S" in text
    assert not {"\x1b", "\u202e", "\u2066"} & set(text)
