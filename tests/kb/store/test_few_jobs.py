import pytest

from kb.store.columns import table_of
from kb.store.few_jobs import COLUMNS, rows_below
from kb.store.loading import load_jobs
from kb.store.rows import FAMILIES
from tests.factories import a_full_case, a_job
from tests.kb.store.other_process import NOW
from tests.kb.store.questions import asked_of


@pytest.fixture
def filled(store):
    with store.write("Ines", NOW) as unit:
        unit.jobs.add_many([a_full_case("J1"), a_full_case("J2"), a_job("J3")], verb="import")
    return store


def test_every_table_below_a_job_is_asked():
    assert set(COLUMNS) == {*FAMILIES, *(row for rows in FAMILIES.values() for row in rows)}


def test_the_rows_of_each_table_are_those_in_it_in_the_order_of_their_keys(filled):
    with filled.read() as unit:
        found = rows_below(unit.connection, ("J2", "J1", "J3"))
        for row_type, names in COLUMNS.items():
            table = table_of(row_type)
            keys = list(table.primary_key)
            query = table.select().with_only_columns(*keys, *(table.c[name] for name in names))
            rows = unit.connection.execute(query.order_by(*keys))
            assert found.get(row_type, []) == [tuple(row) for row in rows]
            assert found.get(row_type), f"expected a full case with rows in {table.name}"


def test_a_job_is_read_by_two_questions_and_is_the_one_that_was_written(filled):
    with filled.read() as unit, asked_of(unit.connection) as asked:
        assert load_jobs(unit.connection, ("J1",)) == (a_full_case("J1"),)
    assert len(asked) == 2


def test_several_jobs_are_read_by_two_questions_as_well(filled):
    with filled.read() as unit, asked_of(unit.connection) as asked:
        both = load_jobs(unit.connection, ("J2", "J1"))
    assert both == (a_full_case("J1"), a_full_case("J2"))
    assert len(asked) == 2


def test_the_rows_of_one_job_are_those_that_it_has_among_several(filled):
    with filled.read() as unit:
        several, one = (rows_below(unit.connection, ids) for ids in (("J1", "J2"), ("J2",)))
        assert one == {
            row_type: [row for row in rows if row[0] == "J2"] for row_type, rows in several.items()
        }


def test_a_job_that_is_not_there_has_no_rows(filled):
    with filled.read() as unit:
        assert rows_below(unit.connection, ("J9",)) == {}
