from dataclasses import fields

import pytest

from kb.store import shapes
from kb.store.shapes import Shape

ALL = [value for value in vars(shapes).values() if isinstance(value, Shape)]


@pytest.mark.parametrize("shape", ALL, ids=lambda shape: shape.table.__tablename__)
def test_every_field_of_a_value_is_a_column_or_a_table_of_its_own(shape):
    columns = set(shape.table.__table__.c.keys())
    assert set(shape.names) <= columns
    assert columns - set(shape.names) <= {"job_id", "parent", "ordinal"}
    assert {row.name for row in fields(shape.kind)} == {*shape.names, *shape.nested}


@pytest.mark.parametrize("shape", ALL, ids=lambda shape: shape.table.__tablename__)
def test_a_column_may_be_missing_exactly_where_the_value_may_be(shape):
    for row in fields(shape.kind):
        if row.name in shape.names:
            column = shape.table.__table__.c[row.name]
            assert column.nullable == ("None" in str(row.type)), row.name
