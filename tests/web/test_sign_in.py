import re
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from html import unescape
from io import BytesIO

import pytest

from kb.workflow.people import (
    choose_secrets,
    hashed,
    link_for,
    link_for_first_owner,
    token_hash,
)
from kb.workflow.sign_in import TRIES_A_NAME
from tests.web.conftest import QUICK, without_keys
from web.auth import COOKIE
from web.rights import Role

PASSWORD, PIN = "shop rain lamp", "4711"


@pytest.fixture
def ines(site):
    """Return the number of a technician with a password and a PIN."""

    def add(unit):
        person_id = unit.people.add("Ines", "technician")
        choose_secrets(unit, person_id, hashed(PASSWORD, PIN, hasher=QUICK))
        return person_id

    return site.write(add)


def fields_of(page):
    """Return the hidden fields of the form in a page's main part, in order."""
    form = page.split("<main", 1)[1]
    found = re.findall(r'<input type="hidden" name="([^"]+)" value="([^"]*)">', form)
    return [(name, unescape(value)) for name, value in found]


def enter(browser, path="/sign-in", headers=None, **typed):
    """Open the sign-in page, fill it and send it."""
    fields = dict(fields_of(browser.page(path)))
    data = {**fields, "name": "Ines", "password": PASSWORD, **typed}
    return browser.client.post(path.partition("?")[0], data=data, headers=headers)


def verbs(site):
    with site.store.read() as unit:
        return [(line.who, line.verb, line.what) for line in unit.history.since(0)]


# --- by password ---------------------------------------------------------------------------------


def test_name_and_password_lead_where_one_wanted_to_go(site, ines):
    browser = site.as_nobody()
    answer = enter(browser, "/sign-in?next=/find?q%3Dno+crank")
    assert (answer.status_code, answer.location) == (302, "/find?q=no%20crank")
    assert "Ines" in browser.page("/")
    job = browser.opened()
    assert site.history(job)[0].who == "Ines"


@pytest.mark.parametrize(
    "next_page", ["//evil.example", "https://evil.example/", "/\\evil.example"]
)
def test_signing_in_never_leads_to_another_site(site, ines, next_page):
    assert 'name="next" value="/"' in site.as_nobody().page(f"/sign-in?next={next_page}")
    assert enter(site.as_nobody(), next=next_page).location == "/"


def test_a_wrong_password_keeps_the_name_and_says_no_more_than_for_an_unknown_name(site, ines):
    known = enter(site.as_nobody(), password="wrong password")
    unknown = enter(site.as_nobody(), name="Jonas", password="wrong password")
    assert known.status_code == unknown.status_code == 400
    assert 'aria-describedby="password-error"' in known.text
    assert 'value="Ines"' in known.text
    assert "wrong password" not in known.text
    told = [re.search(r'role="alert">([^<]+)<', page.text) for page in (known, unknown)]
    assert told[0] is not None
    assert told[1] is not None
    assert told[0][1] == told[1][1]


def test_after_too_many_tries_nothing_is_hashed_and_the_page_says_when_to_come_back(
    site, ines, monkeypatch
):
    browser = site.as_nobody()
    for _ in range(TRIES_A_NAME):
        assert enter(browser, password="wrong password").status_code == 400

    def forbidden(*_):
        raise AssertionError("hashed")

    monkeypatch.setattr(type(QUICK), "matches", forbidden)
    answer = enter(browser)
    assert answer.status_code == 429
    assert re.search(r"try again at \d\d:\d\d", answer.text)
    monkeypatch.undo()
    site.app.config["NOW"] = lambda: datetime.now(UTC) + timedelta(minutes=16)
    assert enter(browser).status_code == 302


def test_where_a_try_comes_from_is_not_what_the_request_says_of_itself(site, ines):
    browser = site.as_nobody()
    token = dict(fields_of(browser.page("/sign-in")))["csrf_token"]
    told = [
        browser.client.post(
            "/sign-in",
            data={"csrf_token": token, "name": "Ines", "password": "wrong password"},
            headers={"X-Forwarded-For": f"10.0.0.{n}", "Forwarded": f"for=10.0.0.{n}"},
        ).status_code
        for n in range(TRIES_A_NAME + 1)
    ]
    assert told == [400] * TRIES_A_NAME + [429]


def test_a_planted_form_with_thousands_of_fields_is_not_carried(site):
    browser = site.as_nobody()
    answer = browser.client.post("/jobs", data={f"field{n}": "x" for n in range(1001)})
    assert answer.status_code == 400
    assert "expected at most 1000 fields" in answer.text
    assert "field7" not in answer.text
    some = browser.client.post("/jobs", data={f"field{n}": "x" for n in range(900)})
    assert some.status_code == 401
    assert "field7" in some.text


def test_the_cookie_is_out_of_reach_of_scripts_and_of_other_sites(site, ines):
    plain = enter(site.as_nobody())
    (cookie,) = [line for line in plain.headers.getlist("Set-Cookie") if line.startswith(COOKIE)]
    assert {"HttpOnly", "SameSite=Lax", "Path=/"} <= set(cookie.split("; "))
    assert "Secure" not in cookie
    browser = site.as_nobody()
    page = browser.client.get("/sign-in", base_url="https://localhost").text
    sent = {**dict(fields_of(page)), "name": "Ines", "password": PASSWORD}
    # CSRF asks for a referrer under https.
    headers = {"Referer": "https://localhost/sign-in"}
    answer = browser.client.post(
        "/sign-in", data=sent, base_url="https://localhost", headers=headers
    )
    assert answer.status_code == 302
    cookies = answer.headers.getlist("Set-Cookie")
    assert "Secure" in next(line for line in cookies if line.startswith(f"__Host-{COOKIE}"))


def test_a_token_that_somebody_planted_is_not_the_one_that_is_signed_in(site, ines):
    browser = site.as_nobody()
    browser.client.set_cookie(COOKIE, "planted")
    enter(browser)
    assert browser.client.get_cookie(COOKIE).value != "planted"
    first = browser.client.get_cookie(COOKIE).value
    enter(browser)
    second = browser.client.get_cookie(COOKIE).value
    assert first != second
    with site.store.read() as unit:
        assert unit.sessions.find(token_hash(first)) is None
        assert unit.sessions.find(token_hash("planted")) is None


def test_forms_of_before_the_sign_in_are_good_no_more(site, ines):
    browser = site.as_nobody()
    before = dict(fields_of(browser.page("/sign-in")))["csrf_token"]
    enter(browser)
    answer = browser.client.post("/jobs", data={"csrf_token": before, "text": "no crank"})
    assert answer.status_code == 400
    # From a page of this very site it can be sent again, with a button.
    answer = browser.client.post(
        "/jobs",
        data={"csrf_token": before, "text": "no crank", "action": "open"},
        headers={"Origin": "http://localhost"},
    )
    assert answer.status_code == 400
    assert "from before you signed in" in answer.text
    again = browser.client.post("/jobs", data=fields_of_list(answer.text))
    assert site.get(again.location.rsplit("/", 1)[1]).lines == ("no crank",)


def fields_of_list(page):
    """Return the hidden fields as a form sends them, several of one name kept."""
    sent: dict[str, list[str]] = {}
    for name, value in fields_of(page):
        sent.setdefault(name, []).append(value)
    return sent


def test_signing_in_needs_the_token_of_its_own_page(site, ines):
    answer = site.as_nobody().client.post("/sign-in", data={"name": "Ines", "password": PASSWORD})
    assert answer.status_code == 400
    assert COOKIE not in str(answer.headers)


def test_signing_out_ends_the_session_for_good(site, ines):
    browser = site.as_nobody()
    enter(browser)
    token = browser.client.get_cookie(COOKIE).value
    answer = browser.send("/sign-out")
    assert answer.location == "/sign-in"
    assert browser.client.get_cookie(COOKIE) is None
    browser.client.set_cookie(COOKIE, token)
    assert browser.client.get("/").status_code == 302


# --- a form that nobody signed in sent ------------------------------------------------------------


def test_a_form_of_an_expired_sign_in_shows_what_was_typed_and_arrives_after_signing_in(site, ines):
    browser = site.as_nobody()
    typed = {"text": "no crank\r\none <b>click</b>", "said": 'It "won\'t" start', "action": "open"}
    form = {"form_id": "a" * 32, "csrf_token": "of long ago", **typed}
    refused = browser.client.post("/jobs", data=form)
    assert refused.status_code == 401
    assert "Nothing that you typed is lost" in refused.text
    assert "one &lt;b&gt;click&lt;/b&gt;" in refused.text
    carried = fields_of_list(refused.text)
    wrong = browser.client.post("/sign-in", data={**carried, "name": "Ines", "password": "x" * 9})
    assert wrong.status_code == 400
    carried = fields_of_list(wrong.text)
    entered = browser.client.post(
        "/sign-in", data={**carried, "name": "Ines", "password": PASSWORD}
    )
    assert entered.status_code == 200
    assert "Signed in as Ines" in entered.text
    assert 'action="/jobs"' in entered.text
    again = [browser.client.post("/jobs", data=fields_of_list(entered.text)) for _ in range(2)]
    assert again[0].location == again[1].location
    job = site.get(again[0].location.rsplit("/", 1)[1])
    assert job.lines == ("no crank\none <b>click</b>",)
    assert job.complaint.said == typed["said"]
    with site.store.read() as unit:
        assert len(unit.jobs.open_jobs()) == 1


def test_several_values_of_one_field_are_carried_in_order(site, ines):
    browser = site.as_nobody()
    refused = browser.client.post("/jobs?x=1", data={"text": ["one", "two"]})
    entered = browser.client.post(
        "/sign-in", data={**fields_of_list(refused.text), "name": "Ines", "password": PASSWORD}
    )
    assert fields_of_list(entered.text)["text"] == ["one", "two"]
    assert 'action="/jobs?x=1"' in entered.text


def test_passwords_are_never_carried_along_or_shown(site):
    form = {"present": "old password", "password": "new password", "pin": "4711"}
    refused = site.as_nobody().client.post("/me/secrets", data=form)
    assert refused.status_code == 401
    assert not any(value in refused.text for value in form.values())


def test_pictures_cannot_wait_and_the_page_says_so(site):
    form = {"caption": "the fan", "photo": (BytesIO(b"x"), "p.jpg")}
    refused = site.as_nobody().client.post("/job/J1/photo", data=form)
    assert refused.status_code == 401
    assert "choose them again" in refused.text
    assert "the fan" in refused.text


def test_what_waits_is_never_sent_to_another_site(site, ines):
    answer = enter(site.as_nobody(), unsent="//evil.example/", **{"typed.text": "x"})
    assert (answer.status_code, answer.location) == (302, "/")


def test_a_form_that_another_site_sent_is_not_kept_for_later(site):
    form, evil = {"text": "no crank"}, {"Origin": "http://evil.example"}
    answer = site.as_nobody().client.post("/jobs", data=form, headers=evil)
    assert answer.status_code == 403
    assert "no crank" not in answer.text


# --- links ---------------------------------------------------------------------------------------


def link(site, person_id, at=None):
    return f"/sign-in/{site.write(link_for, person_id, at or datetime.now(UTC))}"


def press(browser, path, **typed):
    fields = dict(fields_of(browser.page(path)))
    return browser.client.post(path, data={**fields, **typed})


def test_looking_at_a_link_does_not_use_it_up_and_pressing_does(site, ines):
    path = link(site, ines)
    for _ in range(2):
        page = site.as_nobody().page(path)
        assert "Sign in as Ines" in page
    browser = site.as_nobody()
    assert press(browser, path).location == "/"
    assert "Ines" in browser.page("/")
    dead = site.as_nobody().client.get(path)
    assert dead.status_code == 404
    assert "ask the owner for a new one" in dead.text


def test_a_link_pressed_twice_in_a_hurry_leads_on_and_for_others_is_dead(site, ines):
    path, browser, other = link(site, ines), site.as_nobody(), site.as_nobody()
    late = dict(fields_of(other.page(path)))
    press(browser, path)
    token = browser.token()
    assert browser.client.post(path, data={"csrf_token": token}).location == "/"
    answer = other.client.post(path, data=late)
    assert answer.status_code == 404
    assert other.client.get("/").status_code == 302


def test_of_many_browsers_that_press_at_once_one_is_signed_in(site, ines):
    path = link(site, ines)
    forms = []
    for _ in range(6):
        browser = site.as_nobody()
        forms.append((browser, dict(fields_of(browser.page(path)))))
    with ThreadPoolExecutor(6) as pool:
        answers = list(pool.map(lambda pair: pair[0].client.post(path, data=pair[1]), forms))
    assert sorted(answer.status_code for answer in answers) == [302, 404, 404, 404, 404, 404]
    assert sum(browser.client.get_cookie(COOKIE) is not None for browser, _ in forms) == 1


def test_a_link_ends_after_a_day(site, ines):
    path = link(site, ines, datetime.now(UTC) - timedelta(hours=24))
    assert site.as_nobody().client.get(path).status_code == 404


def test_what_cannot_be_chosen_is_told_at_its_field_and_the_link_stays_good(site, ines):
    path, browser = link(site, ines), site.as_nobody()
    answer = press(browser, path, password="short", pin="12")
    assert answer.status_code == 400
    for part in ('id="password-error"', 'id="pin-error"', 'aria-describedby="pin-error"'):
        assert part in answer.text
    assert 'value="short"' not in answer.text
    assert press(browser, path, password="another lamp post", pin="1234").location == "/"
    again = enter(site.as_nobody(), password="another lamp post")
    assert again.status_code == 302


def test_a_link_is_written_in_no_history_and_in_no_log(site, ines, monkeypatch, caplog):
    token = site.with_link()

    def fail(*_):
        raise RuntimeError("a fault")

    monkeypatch.setattr("web.sign_in.invitation", fail)
    site.app.config["WTF_CSRF_ENABLED"] = False
    for method in ("GET", "POST"):
        assert site.client.open(f"/sign-in/{token}", method=method).status_code == 500
    assert re.search(r"Fault [0-9a-f]{8} on /sign-in/<token> \[POST\]", caplog.text)
    monkeypatch.undo()
    assert site.as_nobody().client.post(f"/sign-in/{token}").location == "/"
    assert token not in caplog.text
    with site.store.read() as unit:
        assert not any(token in line.what for line in unit.history.since(0))


def test_a_page_with_a_link_is_kept_in_no_cache(site, ines):
    answer = site.as_nobody().client.get(link(site, ines))
    assert answer.headers["Cache-Control"] == "no-store"
    assert answer.headers["Referrer-Policy"] == "same-origin"


def test_the_first_owner_chooses_a_name_and_a_password(site):
    site.write(lambda unit: unit.people.set_role(unit.people.named("shop").id, "viewer"))
    path = f"/sign-in/{site.write(link_for_first_owner, datetime.now(UTC))}"
    browser = site.as_nobody()
    for typed, field in (
        ({"name": "", "password": PASSWORD}, "name"),
        ({"name": "SHOP", "password": PASSWORD}, "name"),
        ({"name": "Mara", "password": ""}, "password"),
    ):
        answer = press(browser, path, **typed)
        assert answer.status_code == 400
        assert f'id="{field}-error"' in answer.text
    assert press(browser, path, name=" Mara  Tolling", password=PASSWORD).location == "/"
    assert "Mara Tolling" in browser.page("/people")
    assert ("Mara Tolling", "person added", "Mara Tolling as owner") in verbs(site)


# --- a shared tablet -----------------------------------------------------------------------------


def test_a_shared_tablet_is_handed_on_by_pin_and_each_write_says_whose_it_is(site, ines):
    tablet = site.as_role(Role.ADVISOR, shared=True)
    page = tablet.page("/switch")
    assert 'value="Ines"' in page
    assert "Without a PIN yet" in page
    job = tablet.opened()
    answer = enter(tablet, "/switch", pin=PIN)
    assert (answer.status_code, answer.location) == (302, "/")
    tablet.send(f"/job/{job}/wait", waits_for="a fan motor")
    assert [line.who for line in site.history(job)] == ["the advisor", "Ines"]
    assert "Switch person" in tablet.page("/")


def test_a_wrong_pin_hands_nothing_on(site, ines):
    tablet = site.as_role(Role.ADVISOR, shared=True)
    answer = enter(tablet, "/switch", pin="0000")
    assert answer.status_code == 400
    assert re.search(r'value="Ines" required checked', answer.text)
    assert "0000" not in without_keys(answer.text)
    assert "the advisor" in tablet.page("/")


def test_a_pin_works_on_a_shared_tablet_only(site, ines):
    own = site.as_role(Role.ADVISOR)
    assert "not a shared tablet" in own.page("/switch")
    answer = own.send("/switch", name="Ines", pin=PIN)
    assert answer.status_code == 400
    assert "the advisor" in own.page("/")
    assert enter(site.as_nobody(), password=PIN).status_code == 400


def test_a_typed_form_on_an_idle_tablet_arrives_by_pin(site, ines):
    tablet = site.as_role(Role.ADVISOR, shared=True)
    token = tablet.token()
    site.app.config["NOW"] = lambda: datetime.now(UTC) + timedelta(minutes=16)
    form = {"csrf_token": token, "text": "no crank", "action": "open"}
    refused = tablet.client.post("/jobs", data=form)
    assert refused.status_code == 401
    assert "Tap your name" in refused.text
    carried = fields_of_list(refused.text)
    entered = tablet.client.post("/switch", data={**carried, "name": "Ines", "pin": PIN})
    sent = tablet.client.post("/jobs", data=fields_of_list(entered.text))
    assert site.history(sent.location.rsplit("/", 1)[1])[0].who == "Ines"


def test_signing_out_of_a_shared_tablet_leads_to_the_names_and_it_stays_shared(site, ines):
    tablet = site.as_role(Role.ADVISOR, shared=True)
    assert tablet.send("/sign-out").location == "/switch"
    assert tablet.client.get("/").location == "/switch?next=/"
    assert enter(tablet, "/switch", pin=PIN).status_code == 302
    tablet.send("/sign-out")
    assert enter(tablet, "/sign-in").status_code == 302
    assert "Switch person" in tablet.page("/")


def test_who_was_taken_out_is_not_among_the_names(site, ines):
    site.write(lambda unit: unit.people.set_active(ines, active=False))
    tablet = site.as_role(Role.ADVISOR, shared=True)
    assert 'value="Ines"' not in tablet.page("/switch")
    assert tablet.send("/switch", name="Ines", pin=PIN).status_code == 400
