"""Clocks that jump: nothing goes by them but what a person reads, and what must end does end."""

import os
import shutil
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from kb.case.iso_week import IsoWeek
from kb.errors import SignInError, TooManyTriesError
from kb.store.engine import default_url, open_store
from kb.workflow import tokens
from kb.workflow.people import LINK, link_for
from kb.workflow.review import review_week
from kb.workflow.sign_in import OWN_IDLE, OWN_LIFE, open_session
from tests.factories import a_case, a_closing
from web.auth import COOKIE

ROOT = Path(__file__).parents[2]
DAY = timedelta(days=1)
# A battery that is empty; a signed 32-bit count of seconds that is full; the days in between.
START_OF_COUNTING = datetime(1970, 1, 1, 0, 5, tzinfo=UTC)
END_OF_32_BITS = datetime(2038, 1, 19, 3, 14, 8, tzinfo=UTC)
NOW = datetime(2026, 11, 23, 9, tzinfo=UTC)


def at(site, moment):
    """Let the site's clock stand at a moment."""
    site.app.config["NOW"] = lambda: moment


def signed_in(site):
    """Say whether the owner's session is good now."""
    return site.client.get("/me").status_code == 200


def link(site, moment):
    with site.store.write("Ines", moment) as unit:
        return link_for(unit, unit.people.named("shop").id, moment)


def opened_at(site, moment):
    """Give the owner's browser a session that was opened at a moment."""
    with site.store.write("Ines", moment) as unit:
        token = open_session(unit, unit.people.named("shop").id, moment, shared=False)
    site.client.set_cookie(COOKIE, token)


@pytest.mark.parametrize("wrong", [END_OF_32_BITS, NOW + 2 * OWN_LIFE, NOW + 2 * DAY])
def test_a_session_of_a_clock_that_was_ahead_does_not_live_on(site, wrong):
    opened_at(site, wrong)
    at(site, wrong)
    assert signed_in(site)
    at(site, NOW)
    assert not signed_in(site)


@pytest.mark.parametrize("moved", [-DAY, timedelta(hours=-1), timedelta(hours=1)])
def test_a_clock_that_was_a_day_or_an_hour_wrong_signs_nobody_out(site, moved):
    opened_at(site, NOW)
    at(site, NOW + moved)
    assert signed_in(site)


def test_a_session_in_use_ends_after_its_time_whatever_the_clock_did_meanwhile(site):
    opened_at(site, NOW)
    moment, end = NOW, NOW + OWN_LIFE + DAY
    while moment <= end:
        # Every other use by a clock that is an hour behind.
        for moved in (timedelta(0), timedelta(hours=-1)):
            at(site, moment + moved)
            site.client.get("/me")
        moment += OWN_IDLE / 2
    at(site, end)
    assert not signed_in(site)


def test_an_empty_battery_keeps_nobody_signed_in_and_the_pages_answer(site):
    opened_at(site, START_OF_COUNTING)
    at(site, START_OF_COUNTING)
    site.page("/me")
    at(site, NOW)
    assert not signed_in(site)


def test_wrong_tries_of_days_to_come_keep_nobody_out(site):
    nobody = site.as_nobody()
    wrong = {"name": "shop", "password": "not this one at all"}

    def status(moment):
        at(site, moment)
        return nobody.send("/sign-in", **wrong).status_code

    assert [status(END_OF_32_BITS) for _ in range(6)][-1] == 429
    assert status(NOW) != 429


def test_a_link_made_by_a_clock_that_was_ahead_signs_nobody_in_for_years(site):
    token = link(site, END_OF_32_BITS)
    at(site, NOW)
    assert site.as_nobody().client.get(f"/sign-in/{token}").status_code == 404
    good = link(site, NOW)
    assert site.as_nobody().client.get(f"/sign-in/{good}").status_code == 200
    at(site, NOW + LINK)
    assert site.as_nobody().client.get(f"/sign-in/{good}").status_code == 404


def test_wrong_tokens_of_days_to_come_shut_no_program_out(store):
    for _ in range(tokens.TRIES):
        with pytest.raises(SignInError):
            tokens.admit(store, "wrong", address="a", at=END_OF_32_BITS)
    with pytest.raises(TooManyTriesError):
        tokens.admit(store, "wrong", address="a", at=END_OF_32_BITS)
    with pytest.raises(SignInError) as told:
        tokens.admit(store, "wrong", address="a", at=NOW)
    assert not isinstance(told.value, TooManyTriesError)


# --- the week ------------------------------------------------------------------------------------

WEEK = IsoWeek.last_whole(NOW.date())


def closed_on(shop, job_id, day):
    case = a_case(job_id, closing=a_closing(closed=day))
    shop.write(lambda unit: unit.jobs.add(case, verb="import"))


def review(memory, moment):
    return review_week(memory, WEEK, who="Ines", now=moment)


def test_a_week_that_a_fast_clock_counted_too_early_is_counted_again(shop):
    memory = shop.memory()
    on_sunday = datetime(*WEEK.sunday.timetuple()[:3], 20, tzinfo=UTC)
    closed_on(shop, "J1", WEEK.monday)
    assert review(memory, on_sunday + DAY).jobs == 1
    closed_on(shop, "J2", WEEK.sunday)
    # The clock is put right: the week still runs.
    assert review(memory, on_sunday).jobs == 2


@pytest.mark.parametrize("moved", [-DAY, DAY, START_OF_COUNTING - NOW, END_OF_32_BITS - NOW])
def test_a_week_is_there_once_whatever_the_clock_did(shop, moved):
    memory = shop.memory()
    closed_on(shop, "J1", WEEK.monday)
    for moment in (NOW, NOW + moved, NOW + timedelta(minutes=5), NOW + 7 * DAY):
        found = review(memory, moment)
        assert found is not None
        assert found.jobs == 1
    with shop.store.read() as unit:
        assert unit.reviews.weeks() == (str(WEEK),)


@pytest.mark.source(
    "IANA tz, Europe/Berlin", "01:59 to 03:00 on 2026-03-29, 02:59 to 02:00 on 10-25"
)
@pytest.mark.parametrize(
    ("moment", "week"),
    [
        (datetime(2026, 3, 29, 0, 59, tzinfo=UTC), "2026-W12"),
        (datetime(2026, 3, 29, 22, 1, tzinfo=UTC), "2026-W13"),
        (datetime(2026, 10, 25, 0, 30, tzinfo=UTC), "2026-W42"),
        (datetime(2026, 10, 25, 22, 59, tzinfo=UTC), "2026-W42"),
        (datetime(2026, 10, 25, 23, 1, tzinfo=UTC), "2026-W43"),
    ],
)
def test_a_night_in_which_the_clocks_are_changed_has_one_week(monkeypatch, moment, week):
    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    try:
        assert str(IsoWeek.last_whole(moment.astimezone().date())) == week
    finally:
        monkeypatch.undo()
        time.tzset()


# --- a whole shop under another clock ------------------------------------------------------------


MOMENTS = (
    "2026-11-23 09:00",
    "2038-01-19 03:14:06",
    "1970-01-02 00:00",
    "2026-11-22 09:00",
)


def opened_by_clock(site, moment):
    """Open a job in a process whose clock stands at a moment, look at the pages; return its id."""
    command = ["faketime", moment, sys.executable, "-m", "tests.faults.clock_shop", site.home]
    known = os.environ | {"PYTHONPATH": str(ROOT), "TZ": "UTC"}
    done = subprocess.run(command, cwd=ROOT, env=known, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    return done.stdout.split()[-1]


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("faketime") is None, reason="needs faketime")
def test_jobs_go_by_their_numbers_whatever_the_clock_said(site):
    jobs = [opened_by_clock(site, moment) for moment in MOMENTS]
    assert jobs == sorted(set(jobs))
    with open_store(default_url(site.home)) as store, store.read() as unit:
        known = [line for line in unit.history.since(0) if line.verb == "open"]
        lines = [line for line in known if line.job_id in jobs]
        assert [line.job_id for line in lines] == jobs
        assert [line.at.year for line in lines] == [2026, 2038, 1970, 2026]
        assert unit.jobs.verify_hashes() == ()
