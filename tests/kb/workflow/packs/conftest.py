from datetime import date
from io import BytesIO

import pytest

from kb.case.casefile import write_case
from kb.case.terms import load_vocabulary
from kb.workflow.packs.anonymous import bare
from kb.workflow.packs.container import pack_bytes
from kb.workflow.packs.make import draft_pack, sender_of
from kb.workflow.packs.take_in import read_pack
from tests.factories import a_case, a_closing, a_full_case
from tests.kb.workflow.conftest import Shop

WORDS = load_vocabulary()
MADE = date(2026, 5, 4)
TODAY_THERE = date(2026, 12, 1)


def given(shop, *, name="Northgate Garage", **known):
    """Return the file that a shop would send."""
    with shop.store.read() as unit:
        draft = draft_pack(unit, **known)
    return draft.file(name, MADE, sender=shop.write(sender_of))


def packed(*jobs, texts=None):
    """Return the file of a pack of these jobs as they are, however they are."""
    rows = {job.id: write_case(job) for job in jobs} if texts is None else texts
    return pack_bytes("Elsewhere", MADE, rows, sender="elsewhere")


def read(content, today=TODAY_THERE):
    return read_pack(BytesIO(content), today=today)


def a_given_case(**changes):
    """Return a case as a pack holds it."""
    return bare(a_case(**changes))


@pytest.fixture
def other(tmp_path):
    """Return another shop, with two cases of its own and one that is held back."""
    made = Shop(f"sqlite:///{tmp_path / 'other.db'}")
    full = a_full_case("J000001", closing=a_closing(lesson="Listen for the fan first."))
    jobs = (
        full,
        a_case("J000002", "condenser_fouled", invoice="A-2210"),
        a_case("J000003", "our_own_cause"),
    )
    made.write(lambda unit: unit.jobs.add_many(jobs, verb="import"))
    yield made
    made.store.close()
