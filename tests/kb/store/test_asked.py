import pytest
from sqlalchemy import Integer, Select, bindparam, column, literal_column, select, text, union_all
from sqlalchemy.exc import DatabaseError, StatementError

from kb.errors import StoreError
from kb.store.asked import Asked
from kb.store.shop_tables import PersonRow
from kb.store.tables import HistoryRow, JobRow
from tests.factories import a_full_case, a_job
from tests.kb.store.other_process import NOW
from tests.kb.store.questions import asked_of

NAMED = select(PersonRow.__table__).where(PersonRow.name == bindparam("who"))


@pytest.fixture
def connection(store):
    with store.write("Ines", NOW) as unit:
        unit.people.add("Ines", "owner")
        unit.people.add("Øyvind", "technician")
        unit.jobs.add_many([a_full_case("J1"), a_job("J2"), a_job("J3")], verb="import")
    with store.read() as unit:
        yield unit.connection


@pytest.mark.parametrize(
    ("query", "values"),
    [
        (NAMED, {"who": "Øyvind"}),
        (NAMED, {"who": "nobody"}),
        (select(JobRow.__table__).where(JobRow.id == bindparam("job")), {"job": "J1"}),
        (select(HistoryRow.__table__).order_by(HistoryRow.seq), {}),
        (select(JobRow.id).where(JobRow.id.in_(["J3", "J1"])).order_by(JobRow.id), {}),
        (select(JobRow.id).where(JobRow.revision == 1).order_by(JobRow.id).limit(2), {}),
    ],
    ids=["text", "none", "whole job", "times", "list of its own", "numbers of its own"],
)
def test_the_answer_is_that_of_sqlalchemy(connection, query, values):
    asked = Asked(query)
    for _ in range(2):
        rows = connection.execute(query, values).mappings().all()
        assert asked.rows(connection, **values) == [tuple(row.values()) for row in rows]
        assert asked.named(connection, **values) == [dict(row) for row in rows]


def test_a_value_may_stand_in_several_places(connection):
    one = select(JobRow.id).where(JobRow.id == bindparam("job"))
    other = select(HistoryRow.job_id).where(HistoryRow.job_id == bindparam("job"))
    assert Asked(union_all(one, other)).rows(connection, job="J2") == [("J2",), ("J2",)]


def test_the_first_row_or_value_is_none_where_there_is_no_row(connection):
    asked = Asked(select(JobRow.id, JobRow.revision).where(JobRow.id == bindparam("job")))
    assert asked.one(connection, job="J1") == ("J1", 1)
    assert asked.scalar(connection, job="J1") == "J1"
    assert asked.one(connection, job="J9") is None
    assert asked.scalar(connection, job="J9") is None


def test_a_question_sees_what_its_own_unit_of_work_wrote(store):
    asked = Asked(select(JobRow.revision).where(JobRow.id == bindparam("job")))
    with store.write("Ines", NOW) as unit:
        unit.jobs.add(a_job("J1"), verb="open")
        assert asked.scalar(unit.connection, job="J1") == 1


def test_text_of_a_value_is_never_part_of_the_question(connection):
    assert Asked(NAMED).rows(connection, who="' OR ''='") == []


def test_a_question_is_asked_once_each_time(connection):
    asked = Asked(NAMED)
    with asked_of(connection) as texts:
        asked.rows(connection, who="Ines")
        asked.rows(connection, who="Øyvind")
    assert len(texts) == 2


def test_a_value_that_is_left_out_is_refused(connection):
    with pytest.raises((KeyError, StatementError)):
        Asked(NAMED).rows(connection)


def test_an_error_of_the_driver_is_told_as_one_of_the_store(store):
    missing = select(column("name", Integer)).select_from(text("no_such_table"))
    with pytest.raises(StoreError, match="nothing was saved"), store.read() as unit:
        Asked(missing).rows(unit.connection)


@pytest.mark.sqlite_only("a byte that is no text, as a rotten disk leaves it")
def test_text_that_cannot_be_read_is_an_error_of_sqlalchemy(connection):
    rotten: Select[str] = select(literal_column("CAST(x'ff' AS TEXT)").label("name"))
    with pytest.raises(DatabaseError, match="decode"):
        Asked(rotten).rows(connection)
