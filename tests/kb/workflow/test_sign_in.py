from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta

import pytest
from typing_extensions import override

from kb.errors import SignInError, TooManyTriesError
from kb.workflow.passwords import Hasher
from kb.workflow.people import add_person, choose_secrets, hashed, take_out, token_hash
from kb.workflow.sign_in import (
    IDLE,
    NOTED,
    OWN_IDLE,
    OWN_LIFE,
    PAUSE,
    TRIES_A_NAME,
    TRIES_AN_ADDRESS,
    TRIES_FROM_EVERYWHERE,
    Asked,
    Secret,
    check_secret,
    find_holder,
    note_use,
    open_session,
    to_be_noted,
)
from tests.kb.workflow.conftest import NOW


class Counted(Hasher):
    """Counts what it compares."""

    def __init__(self):
        super().__init__(rounds=1, memory_kib=8, lanes=1)
        self.compared = 0

    @override
    def matches(self, stored, typed):
        self.compared += 1
        return super().matches(stored, typed)


@pytest.fixture
def hasher():
    return Counted()


@pytest.fixture
def ines(shop, hasher):
    person_id = shop.write(add_person, "Ines", "technician").id
    shop.write(choose_secrets, person_id, hashed("shop rain lamp", "4711", hasher=hasher))
    return person_id


def sign_in(shop, hasher, name="Ines", typed="shop rain lamp", at=NOW, **known):
    asked = {"secret": Secret.PASSWORD, "address": "10.0.0.1", **known}
    return check_secret(shop.store, Asked(name=name, typed=typed, **asked), hasher=hasher, at=at)


def fail(shop, hasher, times=1, **known):
    for _ in range(times):
        with pytest.raises(SignInError):
            sign_in(shop, hasher, **{"typed": "wrong", **known})


# --- by password and PIN -------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["Ines", " ines ", "INES"])
def test_name_and_password_sign_in(shop, hasher, ines, name):
    assert sign_in(shop, hasher, name=name).id == ines


def test_a_pin_is_no_password_and_a_password_no_pin(shop, hasher, ines):
    assert sign_in(shop, hasher, typed="4711", secret=Secret.PIN).id == ines
    fail(shop, hasher, typed="4711")
    fail(shop, hasher, typed="shop rain lamp", secret=Secret.PIN)


def test_a_wrong_password_and_an_unknown_name_are_told_the_same_for_the_same_work(
    shop, hasher, ines
):
    told = []
    for name in ("Ines", "Jonas", ""):
        with pytest.raises(SignInError) as caught:
            sign_in(shop, hasher, name=name, typed="wrong password")
        told.append(str(caught.value))
    assert len(set(told)) == 1
    assert "Ines" not in told[0]
    assert hasher.compared == 3


def test_who_was_taken_out_or_chose_nothing_is_told_the_same(shop, hasher, ines):
    shop.write(take_out, ines)
    fail(shop, hasher, typed="shop rain lamp")
    shop.write(add_person, "Bo", "viewer")
    fail(shop, hasher, name="Bo", typed="")


# --- too many tries ------------------------------------------------------------------------------


def test_after_five_wrong_tries_a_name_waits_and_nothing_is_hashed(shop, hasher, ines):
    fail(shop, hasher, TRIES_A_NAME)
    before = hasher.compared
    with pytest.raises(TooManyTriesError, match="try again at") as caught:
        sign_in(shop, hasher)
    assert hasher.compared == before == TRIES_A_NAME
    assert caught.value.again_at == NOW + PAUSE
    shown = (NOW + PAUSE).astimezone().strftime("%H:%M")
    assert shown in str(caught.value)
    assert sign_in(shop, hasher, at=NOW + PAUSE).id == ines


def test_the_pause_is_the_same_for_a_name_that_nobody_has(shop, hasher):
    fail(shop, hasher, TRIES_A_NAME, name="Jonas")
    with pytest.raises(TooManyTriesError):
        sign_in(shop, hasher, name="JONAS")


def test_other_names_go_on_until_the_address_has_failed_too_often(shop, hasher, ines):
    for number in range(TRIES_AN_ADDRESS):
        fail(shop, hasher, name=f"guess {number}")
    with pytest.raises(TooManyTriesError):
        sign_in(shop, hasher)
    assert sign_in(shop, hasher, address="10.0.0.2").id == ines


def test_wrong_tries_from_one_address_never_keep_somebody_out_elsewhere(shop, hasher, ines):
    for minute in range(0, 60, 5):
        at = NOW + timedelta(minutes=minute)
        for _ in range(TRIES_AN_ADDRESS):
            with pytest.raises(SignInError):
                sign_in(shop, hasher, typed="wrong", address="10.0.0.66", at=at)
        assert sign_in(shop, hasher, at=at).id == ines


def test_a_password_tried_from_many_addresses_waits_in_the_end(shop, hasher, ines):
    for number in range(TRIES_FROM_EVERYWHERE):
        fail(shop, hasher, address=f"10.0.1.{number}")
    with pytest.raises(TooManyTriesError):
        sign_in(shop, hasher, address="10.0.2.1")


def test_a_pin_is_tried_five_times_wherever_from_and_the_password_stays_open(shop, hasher, ines):
    for number in range(TRIES_A_NAME):
        fail(shop, hasher, typed="0000", secret=Secret.PIN, address=f"10.0.1.{number}")
    with pytest.raises(TooManyTriesError):
        sign_in(shop, hasher, typed="4711", secret=Secret.PIN, address="10.0.2.1")
    assert sign_in(shop, hasher).id == ines


def test_a_right_password_forgets_the_wrong_tries_before_it(shop, hasher, ines):
    for _ in range(3):
        fail(shop, hasher, TRIES_A_NAME - 1)
        assert sign_in(shop, hasher).id == ines


def test_many_tries_at_once_are_counted_one_by_one(shop, hasher, ines):
    def one(_):
        try:
            sign_in(shop, hasher, typed="wrong")
        except SignInError as error:
            return type(error)

    with ThreadPoolExecutor(8) as pool:
        told = list(pool.map(one, range(16)))
    assert told.count(SignInError) == TRIES_A_NAME == hasher.compared
    assert told.count(TooManyTriesError) == 16 - TRIES_A_NAME


def test_a_failed_try_is_kept_without_what_was_typed(shop, hasher, ines):
    fail(shop, hasher, typed="my other password")
    asked = Asked(name="Ines", typed="my other password", secret=Secret.PIN, address="x")
    assert "other password" not in repr(asked)
    with shop.store.read() as unit:
        assert unit.failed.times(name="PIN ines") == ()
        assert unit.failed.times(name="password ines") == (NOW,)
        assert not any("other password" in line.what for line in unit.history.since(0))


# --- sessions ------------------------------------------------------------------------------------


def opened(shop, ines, **known):
    return shop.write(open_session, ines, NOW, **{"shared": False, **known})


def holder(shop, token, at=NOW):
    with shop.store.read() as unit:
        return find_holder(unit, token, at)


def test_a_session_is_held_by_its_token_alone(shop, ines):
    token = opened(shop, ines)
    assert holder(shop, token).person.name == "Ines"
    assert holder(shop, "guessed") is None
    assert holder(shop, token_hash(token)) is None


def test_signing_in_again_makes_a_new_token_and_ends_the_old_one(shop, ines):
    old = opened(shop, ines)
    new = opened(shop, ines, replaces=old)
    assert new != old
    assert holder(shop, old) is None
    assert holder(shop, new).person.id == ines


def test_a_session_ends_a_while_after_it_was_last_used(shop, ines):
    token = opened(shop, ines)
    used = NOW + OWN_IDLE / 2
    with shop.store.write("Ines", used) as unit:
        found = find_holder(unit, token, used)
        assert found is not None
        note_use(unit, found, used)
    assert holder(shop, token, NOW + OWN_IDLE).person.id == ines
    assert holder(shop, token, used + OWN_IDLE) is None


@pytest.mark.source("OWASP ASVS 5.0", "7.3.1 a time without use, 7.3.2 a time in all")
def test_a_session_that_is_always_in_use_ends_all_the_same(shop, ines):
    token, at = opened(shop, ines), NOW
    while at + OWN_IDLE / 2 < NOW + OWN_LIFE:
        at += OWN_IDLE / 2
        with shop.store.write("Ines", at) as unit:
            found = find_holder(unit, token, at)
            assert found is not None
            note_use(unit, found, at)
    assert holder(shop, token, NOW + OWN_LIFE - timedelta(seconds=1)).person.id == ines
    assert holder(shop, token, NOW + OWN_LIFE) is None


def test_use_is_noted_once_a_minute(shop, ines):
    found = holder(shop, opened(shop, ines))
    assert not to_be_noted(found, NOW + NOTED - timedelta(seconds=1))
    assert to_be_noted(found, NOW + NOTED)


def test_a_session_of_somebody_who_was_taken_out_is_good_no_more(shop, ines):
    own, tablet = opened(shop, ines), opened(shop, ines, shared=True)
    shop.write(lambda unit: unit.people.set_active(ines, active=False))
    assert holder(shop, own) is None
    assert holder(shop, tablet).person is None


def test_a_shared_tablet_that_lay_idle_is_nobodys_and_ones_own_device_stays_ones_own(shop, ines):
    own, tablet = opened(shop, ines), opened(shop, ines, shared=True)
    late = NOW + IDLE + timedelta(seconds=1)
    assert holder(shop, tablet, NOW + IDLE).person.id == ines
    assert holder(shop, own, late).person.id == ines
    found = holder(shop, tablet, late)
    assert found.person is None
    assert to_be_noted(found, late)
    with shop.store.write("nobody", late) as unit:
        note_use(unit, found, late)
    assert holder(shop, tablet, late).session.person_id is None
