import pytest

from kb.errors import StoreError
from kb.store.columns import Base
from kb.store.loading import load_jobs, table_of
from kb.store.tables import JobRow
from tests.factories import a_case, a_full_case, a_job
from tests.kb.store.other_process import NOW


def test_jobs_come_in_the_order_of_their_ids_whatever_the_order_of_writing(store):
    with store.write("x", NOW) as unit:
        unit.jobs.add_many([a_case("J3"), a_full_case("J1"), a_job("J2")], verb="import")
        assert load_jobs(unit.connection) == (a_full_case("J1"), a_job("J2"), a_case("J3"))


def test_only_the_chosen_jobs_are_loaded_with_only_their_own_parts(store):
    with store.write("x", NOW) as unit:
        unit.jobs.add_many([a_full_case("J1"), a_full_case("J2")], verb="import")
        assert load_jobs(unit.connection, JobRow.id == "J2") == (a_full_case("J2"),)
        assert load_jobs(unit.connection, JobRow.id == "J9") == ()


def test_ten_and_more_rows_keep_their_order(store):
    lines = tuple(f"line {number}" for number in range(25))
    with store.write("x", NOW) as unit:
        unit.jobs.add(a_job("J1", lines=lines), verb="open")
        assert unit.jobs.get("J1").lines == lines


def test_rows_keep_their_order_when_the_file_holds_them_in_another(store):
    with store.write("x", NOW) as unit:
        unit.jobs.add(a_job("J1", lines=("first", "second")), verb="open")
        unit.connection.exec_driver_sql("DELETE FROM lines WHERE ordinal = 0")
        unit.connection.exec_driver_sql("INSERT INTO lines VALUES ('J1', 0, 'first again')")
        assert unit.jobs.get("J1").lines == ("first again", "second")


def test_damaged_words_are_told_in_plain_words(store):
    with store.write("x", NOW) as unit:
        unit.jobs.add(a_full_case("J1"), verb="import")
        unit.connection.exec_driver_sql("UPDATE symptoms SET conditions = '[1'")
        with pytest.raises(StoreError, match="expected sound rows"):
            load_jobs(unit.connection)


def test_a_class_without_a_table_is_refused():
    with pytest.raises((TypeError, AttributeError)):
        table_of(Base)
