import pytest

from kb.errors import StoreError
from kb.store.repository import CHUNK
from tests.factories import a_case, a_closing, a_full_case, a_job
from tests.kb.store.other_process import NOW


def put(store, *jobs):
    with store.write("x", NOW) as unit:
        unit.jobs.add_many(jobs, verb="import")


def mark(store, *ids):
    with store.write("Ines", NOW) as unit:
        unit.held.mark(ids, what="no comeback")


def test_a_marked_job_is_as_one_that_was_saved_with_it(store):
    put(store, a_full_case("J1", closing=a_closing(held=False)), a_case("J2"), a_job("J3"))
    before = store.generation()
    with store.read() as unit:
        state = unit.state()
    mark(store, "J1", "J3", "J404")
    assert store.generation() > before
    with store.read() as unit:
        assert unit.state() != state
        assert unit.jobs.get("J1") == a_full_case("J1", closing=a_closing(held=True))
        assert not unit.jobs.get("J2").closing.held
        assert unit.jobs.verify_hashes() == ()
        assert [unit.jobs.revision(job) for job in ("J1", "J2", "J3")] == [2, 1, 1]
        assert "held = true" not in unit.earlier.at("J1", 1)
        (line,) = unit.history.of("J1")[1:]
        assert (line.who, line.verb, line.what) == ("Ines", "held", "no comeback")
        assert len(unit.history.of("J3")) == 1


def test_it_is_told_how_many_are_left(store):
    put(store, a_case("J1"), a_case("J2"), a_case("J3", closing=a_closing(overturned_by="J9")))
    put(store, a_case("J4"), a_job("J5", comeback_of="J4"))
    ids = ["J1", "J2", "J3", "J4", "J404"]
    with store.read() as unit:
        assert unit.held.left(ids) == 2
        assert unit.held.left([]) == 0
    mark(store, "J1")
    with store.read() as unit:
        assert unit.held.left(ids) == 1


def test_more_than_one_round_of_statements_is_marked_whole(store):
    ids = [f"J{at:04d}" for at in range(CHUNK + 1)]
    put(store, *(a_case(job_id) for job_id in ids))
    mark(store, *ids)
    with store.read() as unit:
        assert unit.held.left(ids) == 0
        assert unit.history.last_seq() == 2 * len(ids)


def test_a_unit_that_reads_marks_nothing(store):
    with store.read() as unit, pytest.raises(StoreError, match=r"Store\.write"):
        unit.held.mark(["J1"], what="")
