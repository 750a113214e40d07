from datetime import timedelta
from types import SimpleNamespace

import pytest
from flask import g, session

from web.form_session import RENEWED_AFTER, form_token

COOKIE = "baybook_forms"


@pytest.fixture
def clock(monkeypatch):
    """Return a clock of the cookie's reader and signer that goes on by hand."""
    at = SimpleNamespace(now=1_900_000_000)
    for place in ("web.form_session.time.time", "itsdangerous.timed.time.time"):
        monkeypatch.setattr(place, lambda: at.now)
    return at


def signed(site, **held):
    """Return a cookie of the forms as this site signs it."""
    return site.app.session_interface.get_signing_serializer(site.app).dumps(held)


def held_by(site, cookie):
    """Return what the site takes from a cookie."""
    with site.app.test_request_context(headers={"Cookie": f"{COOKIE}={cookie}"}):
        return dict(session)


def test_a_cookie_is_good_for_its_month_and_no_longer_however_often_it_was_read(site, clock):
    cookie = signed(site, csrf_token="a")
    month = site.app.permanent_session_lifetime.total_seconds()
    for at, held in ((0, {"csrf_token": "a"}), (month, {"csrf_token": "a"}), (month + 1, {})):
        clock.now = 1_900_000_000 + at
        assert held_by(site, cookie) == held
    clock.now = 1_900_000_000 - 1
    assert held_by(site, cookie) == {}


def test_a_cookie_of_another_key_or_changed_by_hand_holds_nothing(site):
    cookie = signed(site, csrf_token="a")
    assert held_by(site, cookie) == {"csrf_token": "a"}
    assert held_by(site, ("A" if cookie[0] != "A" else "B") + cookie[1:]) == {}
    key, site.app.secret_key = site.app.secret_key, "another"
    foreign = signed(site, csrf_token="a")
    site.app.secret_key = key
    assert held_by(site, foreign) == {}


def test_what_one_request_writes_into_its_session_no_other_finds(site):
    cookie = signed(site, csrf_token="a")
    with site.app.test_request_context(headers={"Cookie": f"{COOKIE}={cookie}"}):
        session["csrf_token"] = "b"
    assert held_by(site, cookie) == {"csrf_token": "a"}


def test_a_lasting_cookie_is_given_anew_when_it_is_an_hour_old(site, clock):
    cookie = signed(site, csrf_token="a", _permanent=True)
    client = site.app.test_client(use_cookies=False)

    def given_after(age):
        clock.now = 1_900_000_000 + age.total_seconds()
        answer = client.get("/sign-in", headers={"Cookie": f"{COOKIE}={cookie}"})
        return any(line.startswith(COOKIE) for line in answer.headers.getlist("Set-Cookie"))

    assert not given_after(timedelta(minutes=1))
    assert given_after(RENEWED_AFTER + timedelta(seconds=1))


def test_the_token_is_the_same_on_every_page_of_a_browser_and_another_for_another(site):
    def tokens(number):
        with site.app.test_request_context():
            session["csrf_token"] = number
            first = form_token()
            g.pop("csrf_token")
            return first, form_token()

    assert len(set(tokens("a"))) == 1
    assert tokens("a")[0] != tokens("b")[0]


def test_a_token_follows_a_session_that_was_begun_anew(site):
    with site.app.test_request_context():
        before = form_token()
        number = session["csrf_token"]
        session.clear()
        g.pop("csrf_token")
        assert form_token() != before
        assert session["csrf_token"] != number
