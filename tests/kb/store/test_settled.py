import pytest

from kb.errors import StoreError
from tests.factories import a_job
from tests.kb.store.other_process import NOW


def test_a_settled_piece_belongs_to_its_job_and_is_settled_once(store):
    with store.write("Ines", NOW) as unit:
        unit.jobs.add_many([a_job("J1"), a_job("J2")], verb="open")
        unit.settled.add("J1", "comp 45")
        unit.settled.add("J1", "comp 45")
        unit.settled.add("J1", "36/190")
    with store.read() as unit:
        assert unit.settled.of("J1") == {"comp 45", "36/190"}
        assert unit.settled.of("J2") == frozenset()
        with pytest.raises(StoreError, match=r"Store\.write"):
            unit.settled.add("J1", "x")


def test_a_piece_that_is_taken_back_is_asked_again(store):
    with store.write("Ines", NOW) as unit:
        unit.jobs.add_many([a_job("J1"), a_job("J2")], verb="open")
        for job_id in ("J1", "J2"):
            unit.settled.add(job_id, "comp 45")
        unit.settled.remove("J1", "comp 45")
        unit.settled.remove("J1", "never there")
        assert unit.settled.of("J1") == frozenset()
        assert unit.settled.of("J2") == {"comp 45"}
