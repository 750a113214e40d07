import inspect

import pytest

from kb.errors import StoreError
from kb.store.unit_of_work import UnitOfWork
from tests.factories import a_job


def test_all_repositories_share_one_connection(store):
    with store.read() as unit:
        parts = {name: part for name, part in vars(unit).items() if name != "connection"}
        assert len(parts) >= 17
        pens = [getattr(part, "_pen", None) for part in parts.values()]
        assert {id(pen.connection) for pen in pens if pen} == {id(unit.connection)}


def test_a_unit_that_reads_refuses_to_write(store):
    with store.read() as unit:
        assert isinstance(unit, UnitOfWork)
        with pytest.raises(StoreError, match=r"Store\.write"):
            unit.jobs.add(a_job("J1"), verb="open")


def test_the_state_of_an_empty_shop_has_no_name(store):
    with store.read() as unit:
        assert unit.state() == ""
    assert inspect.getdoc(UnitOfWork)
