from datetime import timedelta

import pytest

from kb.errors import ConflictError, ParseError, SignInError, TooManyTriesError
from kb.workflow.tokens import (
    DAYS,
    NOTED,
    PAUSE,
    PREFIX,
    TRIES,
    Scope,
    admit,
    make_token,
    read_scopes,
)
from tests.kb.workflow.conftest import NOW


def made(shop, name="billing", scopes=("read", "close"), **known):
    return shop.write(make_token, name, scopes, **({"at": NOW} | known))


def let_in(shop, secret, at=NOW, address="10.0.0.7"):
    return admit(shop.store, secret, address=address, at=at)


def stored(shop, token):
    with shop.store.read() as unit:
        return unit.tokens.get(token.stored.id)


def tries(shop):
    with shop.store.read() as unit:
        return len(unit.failed.times(name="token"))


def test_a_token_lets_its_program_in_under_its_name(shop):
    token = made(shop)
    program = let_in(shop, token.secret)
    assert token.secret.startswith(PREFIX)
    assert (program.who, program.scopes) == ("billing (program)", {"read", "close"})
    assert token.secret not in repr(token)


def test_two_tokens_are_never_alike_and_long_enough_that_none_is_guessed(shop):
    one, other = made(shop, "a"), made(shop, "b")
    assert one.secret != other.secret
    # 32 bytes in base 64 without padding.
    assert len(one.secret) == len(PREFIX) + 43


def test_a_token_ends_after_its_days(shop):
    token = made(shop, days=30)
    end = NOW + timedelta(days=30)
    assert let_in(shop, token.secret, end - timedelta(seconds=1)).name == "billing"
    with pytest.raises(SignInError, match="has ended"):
        let_in(shop, token.secret, end)
    assert made(shop, "other").stored.ends == NOW + timedelta(days=DAYS)


def test_a_token_that_was_taken_back_lets_nobody_in_and_its_name_is_free(shop):
    token = made(shop)
    shop.write(lambda unit: unit.tokens.revoke(token.stored.id))
    with pytest.raises(SignInError, match="taken back"):
        let_in(shop, token.secret)
    assert let_in(shop, made(shop).secret).name == "billing"


@pytest.mark.parametrize("name", ["billing", "Billing ", "BILLING"])
def test_two_programs_never_have_one_name(shop, name):
    made(shop)
    with pytest.raises(ConflictError, match="name of its own"):
        made(shop, name)


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"name": " "}, "expected a name"),
        ({"name": "a\nb\0"}, "got one that cannot"),
        ({"days": 0}, "1 to 730 days, got 0"),
        ({"days": 731}, "got 731"),
        ({"scopes": ()}, "got nothing"),
        ({"scopes": ("read", "people")}, "got 'people'"),
    ],
)
def test_what_cannot_be_a_token_is_refused(shop, changes, said):
    with pytest.raises(ParseError, match=said):
        made(shop, **changes)


def test_what_a_program_may_do_stands_once_and_in_one_order():
    assert read_scopes(["close", "read", "close"]) == (Scope.READ, Scope.CLOSE)


def test_use_is_noted_once_a_minute_and_also_after_the_clock_was_set_back(shop):
    token = made(shop)
    let_in(shop, token.secret)
    let_in(shop, token.secret, NOW + NOTED - timedelta(seconds=1))
    assert stored(shop, token).last_used == NOW
    let_in(shop, token.secret, NOW + NOTED)
    assert stored(shop, token).last_used == NOW + NOTED
    let_in(shop, token.secret, NOW - timedelta(days=1))
    assert stored(shop, token).last_used == NOW - timedelta(days=1)


def test_wrong_tokens_of_an_address_are_told_to_wait_and_written_down_no_more(shop):
    token = made(shop)
    for _ in range(TRIES):
        with pytest.raises(SignInError, match="unknown"):
            let_in(shop, "baybook_wrong")
    with pytest.raises(TooManyTriesError):
        let_in(shop, "baybook_wrong")
    with pytest.raises(TooManyTriesError) as told:
        let_in(shop, "baybook_wrong")
    assert told.value.again_at == NOW + PAUSE
    assert tries(shop) == TRIES
    # A good one is let in all the same, and so is the next address and a later time.
    assert let_in(shop, token.secret).name == "billing"
    for elsewhere in ({"address": "10.0.0.8"}, {"at": NOW + PAUSE}):
        with pytest.raises(SignInError, match="unknown"):
            let_in(shop, "baybook_wrong", **elsewhere)


def test_wrong_tokens_keep_no_person_of_the_same_address_out(shop):
    for _ in range(TRIES):
        with pytest.raises(SignInError):
            let_in(shop, "baybook_wrong")
    with shop.store.read() as unit:
        assert unit.failed.times_from("10.0.0.7") == ()
