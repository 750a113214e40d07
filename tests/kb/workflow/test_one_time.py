from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pyotp
import pytest

from kb.errors import ParseError, SignInError, TooManyTriesError
from kb.workflow.one_time import (
    STEP_S,
    Phone,
    check_code,
    new_secret,
    phone_address,
    set_up,
    step_of,
)
from kb.workflow.people import add_person, link_for, token_hash
from kb.workflow.sign_in import PAUSE, TRIES_A_NAME, Asked, Secret, open_session
from tests.kb.workflow.conftest import NOW

# The ASCII text 12345678901234567890 in base 32.
OF_THE_RFC = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"


def code(secret, at):
    """Return what a phone shows."""
    return pyotp.TOTP(secret).at(int(at.timestamp()))


@pytest.fixture
def secret():
    return new_secret()


@pytest.fixture
def ines(shop, secret):
    """Return the number of an owner whose phone shows codes since ten minutes ago."""
    person_id = shop.write(add_person, "Ines", "owner").id
    before = NOW - timedelta(minutes=10)
    shop.write(set_up, person_id, Phone(secret=secret, code=code(secret, before)), at=before)
    return person_id


def check(shop, person_id, typed, at=NOW, address="10.0.0.1"):
    asked = Asked(name="Ines", typed="", secret=Secret.CODE, address=address, code=typed)
    with shop.store.read() as unit:
        person = unit.people.get(person_id)
    check_code(shop.store, person, asked, at=at)


# --- the codes -----------------------------------------------------------------------------------


@pytest.mark.source("RFC 6238", "appendix B, SHA1, the last six of eight digits")
@pytest.mark.parametrize(
    ("seconds", "shown"),
    [
        (59, "287082"),
        (1111111109, "081804"),
        (1111111111, "050471"),
        (1234567890, "005924"),
        (2000000000, "279037"),
    ],
)
def test_the_code_of_a_moment_is_known_by_its_step(seconds, shown):
    at = datetime.fromtimestamp(seconds, UTC)
    assert step_of(OF_THE_RFC, shown, at) == seconds // 30
    assert step_of(OF_THE_RFC, f" {shown[:3]} {shown[3:]} ", at) == seconds // 30


@pytest.mark.source("RFC 6238", "section 5.2: one time step allowed for the way")
def test_a_code_is_good_one_step_early_or_late_and_no_more(secret):
    shown = code(secret, NOW)
    step = int(NOW.timestamp()) // STEP_S
    for off, known in ((-2, None), (-1, step), (0, step), (1, step), (2, None)):
        assert step_of(secret, shown, NOW + timedelta(seconds=off * STEP_S)) == known


@pytest.mark.parametrize("typed", ["", "28708", "2870823", "28708x", "٢٨٧٠٨٢", "-28708", "2870.2"])
def test_what_is_no_code_is_never_one(typed):
    assert step_of(OF_THE_RFC, typed, datetime.fromtimestamp(59, UTC)) is None


@pytest.mark.source("RFC 4226", "section 4, R6: a secret of 160 bits is recommended")
def test_a_secret_is_long_and_never_the_same(secret):
    assert len(secret) * 5 == 160
    assert new_secret() != secret


@pytest.mark.source("otpauth key URI format", "from memory: type, label, secret, issuer")
def test_a_phone_reads_secret_name_and_issuer(secret):
    read = pyotp.parse_uri(phone_address(secret, "Åse O'Hara"))
    assert isinstance(read, pyotp.TOTP)
    assert (read.secret, read.name, read.issuer) == (secret, "Åse O'Hara", "Baybook")
    assert (read.interval, read.digits) == (30, 6)


# --- at sign-in ----------------------------------------------------------------------------------


def test_a_fresh_code_is_taken_once_and_an_earlier_one_never_after_it(shop, ines, secret):
    earlier = NOW - timedelta(seconds=STEP_S)
    check(shop, ines, code(secret, NOW))
    for again in (NOW, earlier):
        with pytest.raises(SignInError, match="one that was used"):
            check(shop, ines, code(secret, again))
    later = NOW + timedelta(seconds=STEP_S)
    check(shop, ines, code(secret, later), at=later)


def test_of_many_who_send_one_code_at_once_one_is_let_in(shop, ines, secret):
    def try_it(number):
        try:
            check(shop, ines, code(secret, NOW), address=f"10.0.0.{number}")
        except SignInError:
            return False
        return True

    with ThreadPoolExecutor(4) as pool:
        assert sum(pool.map(try_it, range(4))) == 1


def test_the_code_that_set_it_up_is_taken_already(shop, secret):
    person_id = shop.write(add_person, "Ines", "owner").id
    shop.write(set_up, person_id, Phone(secret=secret, code=code(secret, NOW)), at=NOW)
    with pytest.raises(SignInError):
        check(shop, person_id, code(secret, NOW))


def test_few_wrong_codes_from_everywhere_stop_the_right_one_for_a_while(shop, ines, secret):
    for number in range(TRIES_A_NAME):
        with pytest.raises(SignInError):
            check(shop, ines, "000000", address=f"10.0.0.{number}")
    with pytest.raises(TooManyTriesError):
        check(shop, ines, code(secret, NOW), address="10.0.0.99")
    later = NOW + PAUSE
    check(shop, ines, code(secret, later), at=later)


def test_a_code_that_was_left_out_is_asked_for_and_counts_as_no_try(shop, ines, secret):
    for typed in ("", " ", "\t\n") * TRIES_A_NAME:
        with pytest.raises(SignInError, match="got none"):
            check(shop, ines, typed)
    check(shop, ines, code(secret, NOW))
    for _ in range(TRIES_A_NAME):
        with pytest.raises(SignInError, match="got another"):
            check(shop, ines, "000000")
    # Leaving it out shows no way past the pause.
    with pytest.raises(TooManyTriesError):
        check(shop, ines, "")


def test_who_set_up_none_is_asked_for_none(shop):
    person_id = shop.write(add_person, "Bo", "owner").id
    check(shop, person_id, "")
    with shop.store.read() as unit:
        assert unit.people.get(person_id).totp_step is None


# --- setting up ----------------------------------------------------------------------------------


def test_setting_up_takes_a_code_that_the_phone_shows(shop, secret):
    person_id = shop.write(add_person, "Ines", "owner").id
    with pytest.raises(SignInError):
        shop.write(set_up, person_id, Phone(secret=secret, code="000000"), at=NOW)
    with pytest.raises(ParseError):
        shop.write(set_up, person_id, Phone(secret="AAAA", code="000000"), at=NOW)
    with shop.store.read() as unit:
        assert unit.people.get(person_id).totp_secret is None


def test_setting_up_ends_the_other_sessions_and_links(shop, secret):
    person_id = shop.write(add_person, "Ines", "owner").id
    kept, other = (shop.write(open_session, person_id, NOW, shared=False) for _ in range(2))
    link = shop.write(link_for, person_id, NOW)
    phone = Phone(secret=secret, code=code(secret, NOW))
    shop.write(set_up, person_id, phone, at=NOW, keep_session=token_hash(kept))
    with shop.store.read() as unit:
        assert unit.sessions.find(token_hash(kept)) is not None
        assert unit.sessions.find(token_hash(other)) is None
        assert unit.links.find(token_hash(link)) is None
        assert unit.history.since(0)[-1].verb == "one-time code set up"
        assert secret not in str(unit.history.since(0))


def test_neither_secret_nor_code_is_shown_by_mistake(secret):
    phone = Phone(secret=secret, code="287082")
    asked = Asked(name="Ines", typed="", secret=Secret.CODE, address="x", code="287082")
    assert secret not in repr(phone)
    assert "287082" not in repr(phone) + repr(asked)
