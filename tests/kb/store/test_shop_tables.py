import pytest
from sqlalchemy import ForeignKeyConstraint

from kb.store import shop_tables
from kb.store.columns import Base

TABLES = [row for row in vars(shop_tables).values() if isinstance(row, type) and row is not Base]
ROWS = [row for row in TABLES if issubclass(row, Base)]


def test_all_tables_are_looked_at():
    assert len(ROWS) == 13


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.__tablename__)
def test_what_belongs_to_a_job_or_a_person_goes_with_it(row):
    keys = [c for c in row.__table__.constraints if isinstance(c, ForeignKeyConstraint)]
    assert all(key.ondelete == "CASCADE" for key in keys)
    assert not any(column.name.endswith(("token", "password", "pin")) for column in row.__table__.c)
