from dataclasses import replace

from kb.case.model import Origin
from kb.store.engine import Store
from tests.factories import a_case
from tests.kb.store.other_process import NOW


def test_witnesses_are_read_between_two_ids_and_the_newest_own_ones(store: Store) -> None:
    rows = [a_case(f"J{at}") for at in range(1, 5)]
    rows[3] = replace(rows[3], origin=Origin.ANOTHER_SHOP)
    with store.write("x", NOW) as unit:
        unit.jobs.add_many(rows, verb="import")
    with store.read() as unit:
        assert [job.id for job in unit.jobs.witnesses_between("J2", "J3")] == ["J2", "J3"]
        assert [job.id for job in unit.jobs.newest_own(2)] == ["J2", "J3"]
        assert set(unit.jobs.witness_marks()) == {"J1", "J2", "J3", "J4"}
