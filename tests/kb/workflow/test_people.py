import subprocess
import sys
from datetime import timedelta

import pytest

from kb.errors import ConflictError, NotFoundError, ParseError
from kb.workflow.passwords import Hasher
from kb.workflow.people import (
    FIRST_LINK,
    LINK,
    OWNER,
    Chosen,
    add_person,
    bring_back,
    change_role,
    choose_secrets,
    end_sessions,
    has_owner,
    hashed,
    invitation,
    link_for,
    link_for_first_owner,
    person_named,
    take_link,
    take_out,
    token_hash,
)
from kb.workflow.sign_in import open_session
from tests.kb.workflow.conftest import NOW

pytestmark = pytest.mark.both_engines

QUICK = Hasher(rounds=1, memory_kib=8, lanes=1)
NOTHING = Chosen()


def person(shop, name="Ines", role="technician"):
    return shop.write(add_person, name, role).id


def get(shop, person_id):
    with shop.store.read() as unit:
        return unit.people.get(person_id)


def lines(shop):
    with shop.store.read() as unit:
        return [f"{line.verb}: {line.what}" for line in unit.history.since(0)]


def take(shop, token, at=NOW, **known):
    with shop.store.write("somebody", at) as unit:
        return take_link(unit, token, at, **{"chosen": NOTHING, **known})


def session(shop, person_id):
    return token_hash(shop.write(open_session, person_id, NOW, shared=False))


def sessions(shop, person_id):
    with shop.store.read() as unit:
        return [row.token_hash for row in unit.sessions.of(person_id)]


# --- people --------------------------------------------------------------------------------------


def test_a_person_is_added_under_a_clean_name(shop):
    assert get(shop, person(shop, "  Ines  Holm ")).name == "Ines Holm"
    with pytest.raises(ParseError, match="expected a name"):
        person(shop, " ")
    with shop.store.read() as unit:
        assert person_named(unit, "ines holm").role == "technician"
        with pytest.raises(NotFoundError, match="Jonas"):
            person_named(unit, "Jonas")


@pytest.mark.parametrize("deed", [lambda u, i: change_role(u, i, "foreman"), take_out])
def test_the_last_active_owner_stays_owner(shop, deed):
    first, second = person(shop, "Mara", OWNER), person(shop, "Bo", OWNER)
    shop.write(deed, second)
    with pytest.raises(ConflictError, match="Mara, the last one"):
        shop.write(deed, first)
    assert (get(shop, first).role, get(shop, first).active) == (OWNER, True)


def test_the_same_role_again_writes_nothing(shop):
    ines = person(shop)
    before = lines(shop)
    assert shop.write(change_role, ines, "technician").role == "technician"
    assert lines(shop) == before


def test_who_is_taken_out_is_signed_out_and_has_no_link(shop):
    ines = person(shop)
    session(shop, ines)
    token = shop.write(link_for, ines, NOW)
    shop.write(take_out, ines)
    assert sessions(shop, ines) == []
    assert not get(shop, ines).active
    with pytest.raises(NotFoundError):
        take(shop, token)
    with pytest.raises(ConflictError, match="bring Ines back"):
        shop.write(link_for, ines, NOW)
    shop.write(bring_back, ines)
    assert get(shop, ines).active


def test_ending_all_sessions_is_a_line_of_history(shop):
    ines = person(shop)
    session(shop, ines)
    shop.write(end_sessions, ines)
    assert sessions(shop, ines) == []
    assert lines(shop)[-1] == "sessions ended: Ines"


def test_a_link_not_used_yet_ends_with_the_sessions_and_with_a_new_password(shop):
    ines = person(shop)
    for end in (
        lambda: shop.write(end_sessions, ines),
        lambda: shop.write(choose_secrets, ines, hashed("shop rain lamp", "", hasher=QUICK)),
    ):
        token = shop.write(link_for, ines, NOW)
        end()
        with pytest.raises(NotFoundError):
            take(shop, token)


# --- what is chosen ------------------------------------------------------------------------------


def test_what_is_chosen_is_hashed_and_ends_the_other_sessions(shop):
    ines = person(shop)
    kept, _ = session(shop, ines), session(shop, ines)
    chosen = hashed("shop rain lamp", "", hasher=QUICK)
    shop.write(choose_secrets, ines, chosen, keep_session=kept)
    assert QUICK.matches(get(shop, ines).password_hash, "shop rain lamp")
    assert get(shop, ines).pin_hash is None
    assert sessions(shop, ines) == [kept]
    assert "shop rain" not in repr(chosen)


def test_choosing_nothing_changes_nothing(shop):
    ines = person(shop)
    kept = session(shop, ines)
    shop.write(choose_secrets, ines, hashed("", "", hasher=QUICK))
    assert sessions(shop, ines) == [kept]


@pytest.mark.parametrize(("password", "pin"), [("short", ""), ("", "12"), ("long enough", "x123")])
def test_what_cannot_be_chosen_is_refused(password, pin):
    with pytest.raises(ParseError, match="expected"):
        hashed(password, pin, hasher=QUICK)


# --- links ---------------------------------------------------------------------------------------


def test_the_first_owner_names_himself_by_a_link(shop):
    token = shop.write(link_for_first_owner, NOW)
    assert not shop.write(has_owner)
    chosen = hashed("shop rain lamp", "", hasher=QUICK)
    owner = take(shop, token, name=" Mara  Tolling ", chosen=chosen)
    assert (owner.name, owner.role) == ("Mara Tolling", OWNER)
    assert shop.write(has_owner)
    with pytest.raises(ConflictError, match="ask the owner"):
        shop.write(link_for_first_owner, NOW)
    assert not any(token in line or "shop rain" in line for line in lines(shop))


def test_a_new_first_link_ends_the_one_before(shop):
    one, two = (shop.write(link_for_first_owner, NOW) for _ in range(2))
    with pytest.raises(NotFoundError, match="was replaced"):
        take(shop, one, name="Mara")
    assert take(shop, two, name="Mara").name == "Mara"


def test_a_first_link_makes_no_second_owner(shop):
    token = shop.write(link_for_first_owner, NOW)
    person(shop, "Mara", OWNER)
    with pytest.raises(NotFoundError, match="still good"):
        take(shop, token, name="Bo")


def test_a_link_looked_at_is_not_used_up(shop):
    ines = person(shop)
    token = shop.write(link_for, ines, NOW)
    for _ in range(3):
        with shop.store.read() as unit:
            assert invitation(unit, token, NOW).link.person_id == ines
    assert take(shop, token).id == ines
    for deed in (lambda: take(shop, token), lambda: shop.write(invitation, token, NOW)):
        with pytest.raises(NotFoundError, match="ask the owner for a new one"):
            deed()


@pytest.mark.parametrize(("first", "life"), [(True, FIRST_LINK), (False, LINK)])
def test_a_link_ends(shop, first, life):
    ines = person(shop)
    token = shop.write(link_for_first_owner, NOW) if first else shop.write(link_for, ines, NOW)
    with pytest.raises(NotFoundError, match="still good"):
        take(shop, token, NOW + life, name="Mara")
    assert take(shop, token, NOW + life - timedelta(seconds=1), name="Mara")


def test_a_name_that_cannot_be_one_leaves_the_link_good(shop):
    person(shop, "Mara")
    token = shop.write(link_for_first_owner, NOW)
    with pytest.raises(ConflictError, match="there already"):
        take(shop, token, name="mara")
    with pytest.raises(ParseError):
        take(shop, token, name=" ")
    assert take(shop, token, name="Bo").name == "Bo"


def test_a_link_for_a_forgotten_password_sets_a_new_one_and_ends_the_sessions(shop):
    ines = person(shop)
    session(shop, ines)
    token = shop.write(link_for, ines, NOW)
    take(shop, token, chosen=hashed("shop rain lamp", "4711", hasher=QUICK))
    assert QUICK.matches(get(shop, ines).pin_hash, "4711")
    assert sessions(shop, ines) == []
    assert lines(shop)[-3:] == ["link: for Ines", "link taken: Ines", "password and PIN: Ines"]


TAKE = """
import sys
from datetime import UTC, datetime
from kb.errors import NotFoundError
from kb.store.engine import open_store
from kb.workflow.people import Chosen, take_link
url, token = sys.argv[1:]
at = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)
with open_store(url) as store:
    sys.stdout.write("ready\\n"); sys.stdout.flush(); sys.stdin.readline()
    try:
        with store.write("other", at) as unit:
            take_link(unit, token, at, chosen=Chosen())
        print("taken")
    except NotFoundError:
        print("refused")
"""


@pytest.mark.slow
def test_of_several_processes_that_take_a_link_at_once_one_gets_it(shop):
    token = shop.write(link_for, person(shop), NOW)
    command = [sys.executable, "-c", TAKE, shop.url, token]
    running = [
        subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        for _ in range(4)
    ]
    for process in running:
        assert process.stdin is not None
        assert process.stdout is not None
        assert process.stdout.readline() == "ready\n"
    for process in running:
        assert process.stdin is not None
        process.stdin.write("go\n")
        process.stdin.flush()
    said = sorted(process.communicate(timeout=60)[0].strip() for process in running)
    assert said == ["refused", "refused", "refused", "taken"]


def test_a_new_role_signs_in_anew(shop):
    mara = shop.write(add_person, "Mara", "owner").id
    ines = shop.write(add_person, "Ines", "technician").id
    tokens = {who: shop.write(open_session, who, NOW, shared=False) for who in (mara, ines)}
    shop.write(change_role, ines, "technician")
    with shop.store.read() as unit:
        assert unit.sessions.find(token_hash(tokens[ines])) is not None
    shop.write(change_role, ines, "foreman")
    with shop.store.read() as unit:
        assert unit.sessions.find(token_hash(tokens[ines])) is None
        assert unit.sessions.find(token_hash(tokens[mara])) is not None
