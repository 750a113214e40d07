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
