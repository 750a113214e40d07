import re
from datetime import UTC, datetime, timedelta

import pyotp
import pytest

from kb.workflow.people import choose_secrets, hashed, link_for
from kb.workflow.sign_in import TRIES_A_NAME
from tests.web.conftest import QUICK
from tests.web.test_event_log import told
from web.auth import COOKIE
from web.rights import Role

PASSWORD, PIN = "shop rain lamp", "4711"


@pytest.fixture
def clock(site):
    """Return what sets the clock of the site."""
    start = datetime.now(UTC)

    def later(seconds):
        site.app.config["NOW"] = lambda: start + timedelta(seconds=seconds)
        return int((start + timedelta(seconds=seconds)).timestamp())

    later(0)
    return later


@pytest.fixture
def owner(site, clock):
    """Return the browser of an owner with a password and a PIN."""
    with site.store.read() as unit:
        number = unit.people.named("shop").id
    site.write(choose_secrets, number, hashed(PASSWORD, PIN, hasher=QUICK))
    return site.as_role(Role.OWNER)


def offered(browser):
    page = browser.page("/me/code")
    return re.findall(r'name="secret" value="([^"]+)"', page)[0]


def set_up(owner, clock):
    """Set codes up and return the secret."""
    secret = offered(owner)
    shown = pyotp.TOTP(secret).at(clock(0))
    answer = owner.send("/me/code", secret=secret, one_time=shown, present=PASSWORD)
    assert answer.location == "/me"
    return secret


def enter(browser, **typed):
    form = {"name": "shop", "password": PASSWORD, **typed}
    page = browser.page("/sign-in")
    token = re.findall(r'name="csrf_token" value="([^"]+)"', page)[0]
    return browser.client.post("/sign-in", data={"csrf_token": token, **form})


def test_the_secret_is_offered_as_a_picture_and_letters_and_kept_in_no_cache(site, owner):
    answer = owner.client.get("/me/code")
    assert answer.headers["Cache-Control"] == "no-store"
    assert 'src="data:image/svg+xml' in answer.text
    secret = re.findall(r'name="secret" value="([^"]+)"', answer.text)[0]
    assert secret in re.sub(r"\s", "", re.findall(r"<code>([^<]+)<", answer.text)[0])
    assert offered(owner) != secret


def test_setting_up_takes_the_password_and_a_code_and_signs_in_anew(site, owner, clock):
    secret, before = offered(owner), owner.client.get_cookie(COOKIE).value
    shown = pyotp.TOTP(secret).at(clock(0))
    other = site.as_role(Role.OWNER)
    wrong = owner.send("/me/code", secret=secret, one_time="000000", present=PASSWORD)
    assert wrong.status_code == 400
    assert 'id="one-time-error"' in wrong.text
    assert secret in wrong.text
    guess = owner.send("/me/code", secret=secret, one_time=shown, present="a wrong guess")
    assert guess.status_code == 400
    assert 'id="present-error"' in guess.text
    owner.send("/me/code", secret=secret, one_time=shown, present=PASSWORD)
    assert owner.client.get_cookie(COOKIE).value != before
    assert owner.client.get("/me").status_code == 200
    assert other.client.get("/").status_code == 302
    assert secret not in owner.page("/me")
    assert [line["who"] for line in told(site, "password, PIN or one-time code changed")] == [
        "shop"
    ]


def test_the_password_alone_lets_nobody_in_any_more(site, owner, clock):
    assert "One-time code" not in site.as_nobody().page("/sign-in")
    secret = set_up(owner, clock)
    shown = pyotp.TOTP(secret).at(clock(60))
    assert "One-time code" in site.as_nobody().page("/sign-in")
    for typed in ("", "000000"):
        refused = enter(site.as_nobody(), one_time=typed)
        assert refused.status_code == 400
        assert COOKIE not in str(refused.headers)
    asked = [enter(site.as_nobody(), one_time="") for _ in range(TRIES_A_NAME)]
    assert {answer.status_code for answer in asked} == {400}
    assert "expected the one-time code that your phone shows as well" in asked[0].text
    unknown = enter(site.as_nobody(), password="another lamp post", one_time="")
    assert "one-time code that" not in unknown.text
    browser = site.as_nobody()
    assert enter(browser, one_time=shown).status_code == 302
    assert "shop" in browser.page("/me")
    # Whoever looked over the shoulder is too late.
    assert enter(site.as_nobody(), one_time=shown).status_code == 400
    wrong = enter(site.as_nobody(), password="another lamp post", one_time="000000")
    assert wrong.status_code == 400


def test_a_pin_on_a_shared_tablet_asks_for_the_code_too(site, owner, clock):
    secret = set_up(owner, clock)
    tablet = site.as_role(Role.VIEWER, shared=True)
    assert "One-time code" in tablet.page("/switch")
    shown = pyotp.TOTP(secret).at(clock(60))
    assert tablet.send("/switch", name="shop", pin=PIN).status_code == 400
    assert tablet.send("/switch", name="shop", pin=PIN, one_time=shown).status_code == 302


def test_a_link_asks_for_the_code_too_and_stays_good(site, owner, clock):
    secret = set_up(owner, clock)
    shown = pyotp.TOTP(secret).at(clock(60))
    with site.store.read() as unit:
        number = unit.people.named("shop").id
    path = f"/sign-in/{site.write(link_for, number, datetime.now(UTC))}"
    browser = site.as_nobody()
    token = re.findall(r'name="csrf_token" value="([^"]+)"', browser.page(path))[0]
    refused = browser.client.post(path, data={"csrf_token": token})
    assert refused.status_code == 400
    assert 'id="one-time-error"' in refused.text
    good = browser.client.post(path, data={"csrf_token": token, "one_time": shown})
    assert good.location == "/"


def test_taking_it_off_takes_the_password_and_a_code(site, owner, clock):
    secret = set_up(owner, clock)
    shown = pyotp.TOTP(secret).at(clock(60))
    for typed in ({"present": PASSWORD}, {"present": "a wrong guess", "one_time": shown}):
        refused = owner.send("/me/code/off", **typed)
        assert refused.status_code == 400
        assert 'id="code-error"' in refused.text
    assert "No one-time code" in owner.send("/me/code/off", present=PASSWORD, one_time=shown).text
    assert enter(site.as_nobody()).status_code == 302


def test_only_an_owner_is_offered_codes(site, owner):
    assert 'href="/me/code"' in owner.page("/me")
    foreman = site.as_role(Role.FOREMAN)
    assert 'href="/me/code"' not in foreman.page("/me")
    foreman.page("/me/code", 403)


def test_a_form_that_waits_for_a_sign_in_carries_neither_secret_nor_code(site, owner, clock):
    form = {"secret": "ABCDEFGH" * 4, "one_time": "287082", "present": PASSWORD}
    refused = site.as_nobody().client.post("/me/code", data=form)
    assert refused.status_code == 401
    assert not any(value in refused.text for value in form.values())


def test_a_wrong_code_while_setting_up_says_nothing_of_codes_that_are_asked_already(owner, clock):
    refused = owner.send("/me/code", secret=offered(owner), one_time="12", present=PASSWORD)
    assert refused.status_code == 400
    assert "set the clocks of the phone" in refused.text
    wrong = re.search(r'id="one-time-error"[^>]*>([^<]*)<', refused.text)
    assert wrong
    assert "no-code" not in wrong[1]


@pytest.mark.parametrize("secret", ["", "ABC", "§" * 32])
def test_half_a_form_with_a_wrong_password_is_offered_a_new_secret(owner, secret):
    answer = owner.send("/me/code", secret=secret, present="wrong")
    assert answer.status_code == 400
    assert re.search(r'name="secret" value="[A-Z2-7]{32}"', answer.text)
