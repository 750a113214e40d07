import pytest
from sqlalchemy import ForeignKeyConstraint, create_mock_engine
from sqlalchemy.dialects import postgresql
from sqlalchemy.schema import CreateTable

from kb.store import shop_tables, week_tables  # noqa: F401 - their tables belong to the metadata
from kb.store.rows import TABLES
from kb.store.tables import JobRow

ALL = JobRow.metadata.sorted_tables


@pytest.mark.parametrize("table", ALL, ids=lambda table: table.name)
def test_every_constraint_has_a_name_so_that_it_can_be_changed_later(table):
    assert all(constraint.name for constraint in table.constraints)
    assert all(index.name for index in table.indexes)


@pytest.mark.parametrize("row_type", TABLES[1:], ids=lambda row_type: row_type.__tablename__)
def test_every_child_goes_with_its_parent(row_type):
    keys = [c for c in row_type.__table__.constraints if isinstance(c, ForeignKeyConstraint)]
    assert [key.ondelete for key in keys] == ["CASCADE"]


def test_money_is_in_whole_cents():
    money = [column for table in ALL for column in table.c if column.name.endswith("_cents")]
    assert len(money) == 2
    assert {str(column.type) for column in money} == {"INTEGER"}


@pytest.mark.parametrize("table", ALL, ids=lambda table: table.name)
def test_every_table_can_be_written_in_postgresql_too(table):
    statement = str(CreateTable(table).compile(dialect=postgresql.dialect()))
    assert f"CREATE TABLE {table.name}" in statement


def test_the_tables_need_nothing_but_sql():
    statements = []
    engine = create_mock_engine("sqlite://", lambda sql, *_, **__: statements.append(sql))
    JobRow.metadata.create_all(engine, checkfirst=False)
    assert len(statements) > len(ALL)
