from datetime import UTC, datetime

from kb.workflow.people import choose_secrets, hashed, token_hash
from kb.workflow.sign_in import TRIES_A_NAME, open_session
from tests.web.conftest import QUICK, Browser
from web.auth import COOKIE
from web.rights import Role


def mine(site, name="the technician"):
    with site.store.read() as unit:
        return unit.people.named(name)


def test_who_has_neither_chooses_a_password_and_a_pin(site):
    ines = site.as_role(Role.TECHNICIAN)
    assert "Your present" not in ines.page("/me")
    answer = ines.send("/me/secrets", password="shop rain lamp", pin="4711")
    assert "Chosen" in answer.text
    assert QUICK.matches(mine(site).password_hash, "shop rain lamp")
    assert QUICK.matches(mine(site).pin_hash, "4711")
    with site.store.read() as unit:
        line = unit.history.since(0)[-1]
    assert (line.who, line.verb, line.what) == (
        "the technician", "password and PIN", "the technician",
    )  # fmt: skip


def test_whoever_has_one_types_it_first_and_the_other_devices_are_signed_out(site):
    ines, other = site.as_role(Role.TECHNICIAN), site.as_role(Role.TECHNICIAN)
    ines.send("/me/secrets", password="shop rain lamp")
    other = site.as_role(Role.TECHNICIAN)
    refused = ines.send("/me/secrets", password="another lamp post", present="wrong")
    assert refused.status_code == 400
    assert 'id="present-error"' in refused.text
    assert other.client.get("/").status_code == 200
    assert ines.send("/me/secrets", pin="1234", present="shop rain lamp").status_code == 200
    assert QUICK.matches(mine(site).password_hash, "shop rain lamp")
    assert ines.client.get("/").status_code == 200
    assert other.client.get("/").status_code == 302


def test_where_there_is_only_a_pin_that_is_asked_for(site):
    ines = site.as_role(Role.TECHNICIAN)
    site.write(choose_secrets, mine(site).id, hashed("", "4711", hasher=QUICK),
               keep_session=token_hash(ines.session))  # fmt: skip
    assert "Your present PIN" in ines.page("/me")
    assert ines.send("/me/secrets", password="shop rain lamp").status_code == 400
    assert ines.send("/me/secrets", password="shop rain lamp", present="4711").status_code == 200


def test_guessing_the_present_password_is_slowed_like_signing_in(site):
    ines = site.as_role(Role.TECHNICIAN)
    ines.send("/me/secrets", password="shop rain lamp")
    told = [
        ines.send("/me/secrets", pin="1234", present="wrong").status_code
        for _ in range(TRIES_A_NAME + 1)
    ]
    assert told == [400] * TRIES_A_NAME + [429]


def test_what_cannot_be_chosen_is_told_at_its_field(site):
    ines = site.as_role(Role.TECHNICIAN)
    answer = ines.send("/me/secrets", password="short", pin="12")
    assert answer.status_code == 400
    assert 'aria-describedby="password-error"' in answer.text
    assert 'aria-describedby="pin-error"' in answer.text
    assert "got neither" in ines.send("/me/secrets").text


def test_a_device_becomes_a_shared_tablet_under_a_new_token_and_ones_own_again(site):
    ines = site.as_role(Role.TECHNICIAN)
    assert ines.send("/me/shared", shared="yes").location == "/me"
    shared = ines.client.get_cookie(COOKIE).value
    assert shared != ines.session
    assert "Switch person" in ines.page("/me")
    ines.send("/me/shared", shared="no")
    assert "Switch person" not in ines.page("/me")
    with site.store.read() as unit:
        assert unit.sessions.find(token_hash(ines.session)) is None
        assert unit.sessions.find(token_hash(shared)) is None


def test_a_tablet_that_somebody_left_becomes_nobodys_own_without_the_password(site):
    site.as_role(Role.TECHNICIAN)
    site.write(choose_secrets, mine(site).id, hashed("shop rain lamp", "", hasher=QUICK))
    with site.store.write("Ines", datetime.now(UTC)) as unit:
        token = open_session(unit, mine(site).id, datetime.now(UTC), shared=True)
    left = Browser(site.app, token)
    refused = left.send("/me/shared", shared="no", present="a guess")
    assert refused.status_code == 400
    assert 'id="present-here-error"' in refused.text
    assert "Switch person" in left.page("/me")
    assert left.send("/me/shared", shared="no", present="shop rain lamp").location == "/me"
    assert "Switch person" not in left.page("/me")


def test_one_of_ones_own_sessions_ends_and_nobody_elses_can_be(site):
    ines, lost, bo = (
        site.as_role(role) for role in (Role.TECHNICIAN, Role.TECHNICIAN, Role.VIEWER)
    )
    page = ines.page("/me")
    assert page.count("(this one)") == 1
    assert token_hash(lost.session) in page
    assert token_hash(bo.session) not in page
    for browser in (lost, bo):
        ines.send("/me/sessions", session=token_hash(browser.session))
    assert lost.client.get("/").status_code == 302
    assert bo.client.get("/").status_code == 200


def test_a_device_that_is_ones_own_keeps_its_session_and_its_end(site):
    ines = site.as_role(Role.TECHNICIAN)
    ines.send("/me/shared", shared="no")
    assert ines.client.get_cookie(COOKIE).value == ines.session
