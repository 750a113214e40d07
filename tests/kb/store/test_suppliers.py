from datetime import timedelta

from kb.case.parts import FittedPart
from kb.store.suppliers import MOST
from tests.factories import CLOSED, a_case, a_closing
from tests.kb.store.other_process import NOW


def fitted(job_id, *suppliers, days=0):
    parts = tuple(FittedPart(part="fan", supplier=name) for name in suppliers)
    return a_case(job_id, closing=a_closing(parts=parts, closed=CLOSED + timedelta(days=days)))


def newest(store, *jobs):
    with store.write("Ines", NOW) as unit:
        unit.jobs.add_many(jobs, verb="import")
    with store.read() as unit:
        return unit.suppliers.newest()


def test_each_supplier_is_named_once_the_latest_first(store):
    found = newest(
        store,
        fitted("J1", "Northgate", days=9),
        fitted("J2", "Millbrook", "Northgate", days=1),
        fitted("J3", None, days=10),
    )
    assert found == ("Northgate", "Millbrook")


def test_no_more_are_offered_than_a_list_can_be_read(store):
    jobs = [fitted(f"J{n:03d}", f"supplier {n}", days=n) for n in range(MOST + 5)]
    found = newest(store, *jobs)
    assert len(found) == MOST
    assert found[0] == f"supplier {MOST + 4}"
