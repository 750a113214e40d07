from datetime import timedelta

import pytest

from kb.errors import StoreError
from tests.kb.store.other_process import NOW

HOUR = timedelta(hours=1)
A, B, C = "a" * 64, "b" * 64, "c" * 64


def at(store, verb, moment=NOW):
    with store.write("Ines", moment) as unit:
        return verb(unit)


@pytest.fixture
def ines(store):
    return at(store, lambda unit: unit.people.add("Ines", "technician"))


def open_sessions(store, ines):
    def both(unit):
        unit.sessions.open(A, ines, shared=False, ends=NOW + HOUR)
        unit.sessions.open(B, ines, shared=True, ends=NOW + HOUR)
        unit.sessions.open(C, ines, shared=False, ends=NOW + HOUR)

    at(store, both)


def hashes(store, ines):
    with store.read() as unit:
        return {row.token_hash for row in unit.sessions.of(ines)}


# --- sessions ------------------------------------------------------------------------------------


def test_a_session_is_found_by_the_hash_of_its_token(store, ines):
    open_sessions(store, ines)
    with store.read() as unit:
        found = unit.sessions.find(A)
        assert unit.sessions.find("d" * 64) is None
    assert (found.person_id, found.shared) == (ines, False)
    assert (found.created, found.last_seen, found.ends) == (NOW, NOW, NOW + HOUR)


def test_a_session_in_use_is_noted_and_the_one_seen_last_stands_first(store, ines):
    open_sessions(store, ines)
    later = NOW + timedelta(minutes=9)
    at(store, lambda unit: unit.sessions.touch(C, ends=later + HOUR), later)
    with store.read() as unit:
        first = unit.sessions.of(ines)[0]
    assert (first.token_hash, first.last_seen, first.ends) == (C, later, later + HOUR)


def test_one_session_ends_and_the_others_go_on(store, ines):
    open_sessions(store, ines)
    at(store, lambda unit: unit.sessions.end(A))
    assert hashes(store, ines) == {B, C}


def test_all_sessions_of_a_person_end_but_one_and_a_shared_tablet_stays_shared(store, ines):
    open_sessions(store, ines)
    at(store, lambda unit: unit.sessions.end_all_of(ines, but=C))
    assert hashes(store, ines) == {C}
    with store.read() as unit:
        (tablet,) = unit.sessions.shared()
    assert (tablet.token_hash, tablet.person_id) == (B, None)


def test_a_shared_tablet_can_be_nobodys(store, ines):
    open_sessions(store, ines)
    at(store, lambda unit: unit.sessions.let_go(B))
    assert hashes(store, ines) == {A, C}


def test_sessions_that_have_ended_go_when_another_opens(store, ines):
    open_sessions(store, ines)
    new = "e" * 64
    opened = NOW + 2 * HOUR
    at(store, lambda unit: unit.sessions.open(new, ines, shared=False, ends=opened + HOUR), opened)
    assert hashes(store, ines) == {new}


# --- links ---------------------------------------------------------------------------------------


def use(store, token_hash, moment=NOW):
    return at(store, lambda unit: unit.links.use(token_hash), moment)


def test_a_link_is_used_once(store, ines):
    at(store, lambda unit: unit.links.add(A, ends=NOW + HOUR, person_id=ines))
    assert use(store, A)
    assert not use(store, A)
    with store.read() as unit:
        assert unit.links.find(A).used == NOW


def test_a_link_that_ended_or_never_was_is_not_used(store, ines):
    at(store, lambda unit: unit.links.add(A, ends=NOW + HOUR, person_id=ines))
    assert not use(store, A, NOW + HOUR)
    assert not use(store, B)
    with store.read() as unit:
        assert unit.links.find(A).used is None
        assert unit.links.find(B) is None


def test_a_new_link_replaces_the_earlier_one_of_the_same_person_or_role(store, ines):
    def add(unit):
        unit.links.add(A, ends=NOW + HOUR, person_id=ines)
        unit.links.add(B, ends=NOW + HOUR, role="owner")
        unit.links.add(C, ends=NOW + HOUR, person_id=ines)

    at(store, add)
    assert [use(store, key) for key in (A, B, C)] == [False, True, True]


# --- failed tries --------------------------------------------------------------------------------


def test_tries_are_counted_by_name_and_by_address(store):
    def tries(unit):
        unit.failed.add("ines", "10.0.0.1")
        unit.failed.add("bo", "10.0.0.1")

    at(store, tries)
    at(store, lambda unit: unit.failed.add("ines", "10.0.0.2"), NOW + HOUR)
    with store.read() as unit:
        assert unit.failed.times(name="ines") == (NOW, NOW + HOUR)
        assert unit.failed.times(name="ines", address="10.0.0.2") == (NOW + HOUR,)
        assert unit.failed.times_from("10.0.0.1") == (NOW, NOW)
        with pytest.raises(StoreError, match=r"Store\.write"):
            unit.failed.add("x", "y")
    at(store, lambda unit: unit.failed.forget("ines", "10.0.0.2"))
    at(store, lambda unit: unit.failed.forget_outside(NOW - HOUR, NOW))
    with store.read() as unit:
        assert unit.failed.times(name="ines") == (NOW,)
    at(store, lambda unit: unit.failed.forget_outside(NOW, NOW))
    with store.read() as unit:
        assert unit.failed.times_from("10.0.0.1") == ()
