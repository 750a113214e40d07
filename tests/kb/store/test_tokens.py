from datetime import timedelta

import pytest

from kb.errors import NotFoundError, StoreError
from tests.kb.store.other_process import NOW

ENDS = NOW + timedelta(days=30)


def added(unit, name="billing", token_hash="a" * 64):
    return unit.tokens.add(name, token_hash, scopes=("read", "close"), ends=ENDS)


def test_a_token_is_found_by_its_hash_and_says_nothing_of_it(store):
    with store.write("Mara", NOW) as unit:
        number = added(unit)
    with store.read() as unit:
        found = unit.tokens.find("a" * 64)
        assert found == unit.tokens.get(number)
        assert unit.tokens.find("b" * 64) is None
        (line,) = unit.history.since(0)
    assert (found.name, found.scopes, found.created_by) == ("billing", ("read", "close"), "Mara")
    assert (found.created, found.ends) == (NOW, ENDS)
    assert found.last_used is found.revoked is None
    assert "a" * 64 not in repr(found)
    assert (line.verb, line.job_id, line.what) == ("token made", None, "billing: read, close")


def test_a_token_is_good_until_its_end_or_until_it_is_taken_back(store):
    with store.write("Mara", NOW) as unit:
        number = added(unit)
        found = unit.tokens.get(number)
        assert found.is_good(ENDS - timedelta(seconds=1))
        assert not found.is_good(ENDS)
        unit.tokens.touch(number)
        unit.tokens.revoke(number)
    with store.write("Mara", NOW + timedelta(hours=1)) as unit:
        unit.tokens.revoke(number)
    with store.read() as unit:
        taken = unit.tokens.get(number)
        verbs = [line.verb for line in unit.history.since(0)]
    assert (taken.last_used, taken.revoked) == (NOW, NOW)
    assert not taken.is_good(NOW)
    assert verbs == ["token made", "token taken back"]


def test_the_newest_token_stands_first(store):
    with store.write("Mara", NOW) as unit:
        first, second = added(unit), added(unit, "phones", "b" * 64)
        assert [row.id for row in unit.tokens.all()] == [second, first]


@pytest.mark.parametrize("number", [404, 2**31])
def test_an_unknown_number_is_told(store, number):
    with store.write("Mara", NOW) as unit, pytest.raises(NotFoundError, match="list of tokens"):
        unit.tokens.revoke(number)


def test_a_unit_that_reads_makes_no_token(store):
    with store.read() as unit, pytest.raises(StoreError, match=r"Store\.write"):
        added(unit)
