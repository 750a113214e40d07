import pytest
from sqlalchemy import select

from kb.errors import StoreError
from kb.store.columns import Base, table_of
from kb.store.loading import load_jobs
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
        unit.connection.exec_driver_sql("INSERT INTO lines VALUES ('J1', 0, 'first')")
        assert unit.jobs.get("J1").lines == ("first", "second")


def test_damaged_words_are_told_in_plain_words(store):
    with store.write("x", NOW) as unit:
        unit.jobs.add(a_full_case("J1"), verb="import")
        unit.connection.exec_driver_sql("UPDATE symptoms SET conditions = '[1'")
        with pytest.raises(StoreError, match="expected J1 as written"):
            load_jobs(unit.connection)


DAMAGE = {
    "a value": "UPDATE closings SET cause = 'condenser_fouled' WHERE job_id = 'J2'",
    "a number": "UPDATE readings SET canonical = canonical + 1 WHERE job_id = 'J2'",
    "a word of a closed list": "UPDATE jobs SET state = 'asleep' WHERE id = 'J2'",
    "a row that is gone": "DELETE FROM closings WHERE job_id = 'J2'",
}
OF_ANOTHER_TYPE = {
    "a date": "UPDATE jobs SET opened = 'never' WHERE id = 'J2'",
    "bytes that are no text": "UPDATE lines SET text = CAST(x'61c328' AS TEXT) WHERE job_id = 'J2'",
    "bytes for text": "UPDATE proofs SET text = x'0102' WHERE job_id = 'J2'",
}


@pytest.mark.parametrize("sql", DAMAGE.values(), ids=DAMAGE)
def test_a_job_that_changed_on_the_disk_is_never_returned_and_hides_no_other(store, sql):
    shows_all_but_the_damaged(store, sql)


@pytest.mark.sqlite_only("columns that hold another type than declared")
@pytest.mark.parametrize("sql", OF_ANOTHER_TYPE.values(), ids=OF_ANOTHER_TYPE)
def test_a_value_of_another_type_is_never_returned_and_hides_no_other(store, sql):
    shows_all_but_the_damaged(store, sql)


def shows_all_but_the_damaged(store, sql):
    with store.write("x", NOW) as unit:
        unit.jobs.add_many([a_full_case(f"J{number}") for number in range(1, 6)], verb="import")
        unit.connection.exec_driver_sql(sql)
    with store.read() as unit:
        sound = tuple(a_full_case(f"J{number}") for number in (1, 3, 4, 5))
        assert unit.jobs.closed_jobs() + unit.jobs.open_jobs() == sound
        assert unit.jobs.some(["J1", "J2"]) == (a_full_case("J1"),)
        assert unit.jobs.verify_hashes() == ("J2",)
        with pytest.raises(StoreError, match=r"J2 as written.*doctor.*restore"):
            unit.jobs.get("J2")
        with pytest.raises(StoreError, match="J2 as written"):
            load_jobs(unit.connection)


def test_a_list_names_the_jobs_that_it_left_out(store):
    with store.write("x", NOW) as unit:
        unit.jobs.add_many([a_job("J1"), a_job("J2")], verb="import")
        unit.connection.exec_driver_sql("UPDATE jobs SET body = 'x' WHERE id = 'J1'")
        assert unit.jobs.damaged == set()
        assert unit.jobs.open_jobs() == (a_job("J2"),)
        assert unit.jobs.damaged == {"J1"}


def test_a_damaged_job_is_not_written_over(store):
    with store.write("x", NOW) as unit:
        unit.jobs.add(a_job("J1"), verb="open")
        unit.connection.exec_driver_sql("UPDATE jobs SET body = 'x' WHERE id = 'J1'")
    with store.write("x", NOW) as unit, pytest.raises(StoreError, match="J1 as written"):
        unit.jobs.save(a_job("J1", lines=("new",)), verb="text")


def test_a_text_whose_page_changed_on_the_disk_is_not_shown(store):
    with store.write("x", NOW) as unit:
        unit.jobs.add(a_job("J1", body="*slow*"), verb="open")
        assert unit.jobs.body_html("J1") == "<p><em>slow</em></p>"
    with store.read() as unit:
        assert unit.jobs.body_html("J1") == "<p><em>slow</em></p>"
        table = table_of(JobRow)
        seal = unit.connection.scalar(select(table.c.seal))
    with store.write("x", NOW) as unit:
        row = {"body_html": "<p><em>slew</em></p>", "seal": seal}
        unit.connection.execute(table.update().values(row))
    with store.read() as unit, pytest.raises(StoreError, match="J1 as written"):
        unit.jobs.body_html("J1")


def test_a_class_without_a_table_is_refused():
    with pytest.raises((TypeError, AttributeError)):
        table_of(Base)
