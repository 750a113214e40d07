from dataclasses import replace

import pytest

from kb.store.journal import Pen
from kb.store.kept_by_state import KeptByState
from tests.factories import a_case, a_job
from tests.kb.store.other_process import NOW


@pytest.fixture
def asked(store):
    """Return what asks a kept value in a unit of its own, and how often it was made."""
    kept, made = KeptByState[str](3, len), []

    def ask(value, key="key"):
        def make():
            made.append(value)
            return value

        with store.read() as unit:
            return kept.get(Pen(unit.connection, who=None, at=None), key, make)

    return ask, made


def write(store, deed, *args, **known):
    with store.write("x", NOW) as unit:
        getattr(unit.jobs, deed)(*args, **known)


def test_a_value_stays_until_a_closed_job_is_written(store, asked):
    ask, made = asked
    write(store, "add_many", [a_case("J1"), a_job("J2")], verb="import")
    assert [ask("a"), ask("b")] == ["a", "a"]
    write(store, "save", a_job("J2", lines=("x",)), verb="add")
    assert ask("c") == "a"
    write(store, "save", replace(a_case("J1"), lines=("x",)), verb="change")
    assert [ask("d"), ask("e")] == ["d", "d"]
    assert made == ["a", "d"]


def test_an_empty_value_is_kept_too_and_other_keys_have_their_own(store, asked):
    ask, made = asked
    write(store, "add", a_case("J1"), verb="import")
    assert [ask("", "x"), ask("b", "x"), ask("c", "y")] == ["", "", "c"]
    assert made == ["", "c"]


def test_what_is_too_large_is_made_each_time_and_the_oldest_goes(store, asked):
    ask, _ = asked
    write(store, "add", a_case("J1"), verb="import")
    assert [ask("long", "x"), ask("longer", "x")] == ["long", "longer"]
    assert [ask("aa", "x"), ask("bb", "y"), ask("c", "x")] == ["aa", "bb", "c"]


def test_a_shop_without_a_closed_job_keeps_nothing(asked):
    ask, _ = asked
    assert [ask("a"), ask("b")] == ["a", "b"]


def test_a_unit_that_writes_sees_its_own(store):
    kept = KeptByState[str](3)
    write(store, "add", a_case("J1"), verb="import")
    with store.write("x", NOW) as unit:
        pen = Pen(unit.connection, who="x", at=NOW)
        assert kept.get(pen, "key", lambda: "a") == "a"
        assert kept.get(pen, "key", lambda: "b") == "b"
