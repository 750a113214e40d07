import inspect
from functools import cached_property

import pytest

from kb.errors import StoreError
from kb.store.unit_of_work import UnitOfWork
from tests.factories import a_job


def test_all_repositories_share_one_connection_and_are_made_once(store):
    names = [name for name, part in vars(UnitOfWork).items() if isinstance(part, cached_property)]
    with store.read() as unit:
        parts = [getattr(unit, name) for name in ("jobs", "history", *names)]
        assert len(parts) >= 17
        pens = [getattr(part, "_pen", None) for part in parts]
        assert {id(pen.connection) for pen in pens if pen} == {id(unit.connection)}
        assert all(getattr(unit, name) is part for name, part in zip(names, parts[2:], strict=True))


def test_a_unit_that_reads_refuses_to_write(store):
    with store.read() as unit:
        assert isinstance(unit, UnitOfWork)
        with pytest.raises(StoreError, match=r"Store\.write"):
            unit.jobs.add(a_job("J1"), verb="open")


def test_the_state_of_an_empty_shop_has_no_name(store):
    with store.read() as unit:
        assert unit.state() == ""
    assert inspect.getdoc(UnitOfWork)
