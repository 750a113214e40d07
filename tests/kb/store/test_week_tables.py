import pytest
from sqlalchemy import ForeignKeyConstraint

from kb.store import week_tables
from kb.store.columns import Base

TABLES = [row for row in vars(week_tables).values() if isinstance(row, type) and row is not Base]
ROWS = [row for row in TABLES if issubclass(row, Base)]


def test_all_tables_are_looked_at():
    assert len(ROWS) == 5


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row.__tablename__)
def test_what_belongs_to_a_job_goes_with_it(row):
    keys = [c for c in row.__table__.constraints if isinstance(c, ForeignKeyConstraint)]
    assert all(key.ondelete == "CASCADE" for key in keys)
    assert bool(keys) == ("job_id" in row.__table__.c)
