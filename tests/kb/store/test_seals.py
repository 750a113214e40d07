from datetime import UTC, datetime, timedelta, timezone

import pytest

from kb.store.columns import Base
from kb.store.engine import open_store
from kb.store.migrate import downgrade, upgrade
from kb.store.seals import broken_seals, seal_of, sealed_tables
from kb.store.shop_tables import PersonRow
from kb.store.tables import HistoryRow
from kb.store.writes import KEPT_STATES
from tests.factories import a_full_case, a_job
from tests.kb.store.by_hand import by_hand
from tests.kb.store.other_process import NOW


def broken(store):
    """Return by name the keys of the rows of each table that do not fit their seal."""
    with store.read() as unit:
        found = {table.name: broken_seals(unit.connection, table) for table in sealed_tables()}
    return {name: rows for name, rows in found.items() if rows != ()}


def fill(store):
    with store.write("Ines", NOW) as unit:
        unit.jobs.add(a_full_case("J1"), verb="import")
        unit.people.add("Ines", "owner")
        unit.settings.set("colour", "blue")
        unit.sent.add("0" * 32, "J1")
    with store.write("Ines", NOW) as unit:
        unit.jobs.save(a_full_case("J1", body="Said *again*."), verb="text")
        unit.settings.set("colour", "green")


def test_every_row_that_is_written_or_changed_carries_its_seal(store):
    fill(store)
    assert broken(store) == {}


@pytest.mark.parametrize(
    ("table", "sql"),
    [
        ("jobs", "UPDATE jobs SET body_html = '<p>Said again!</p>'"),
        ("jobs", "UPDATE jobs SET revision = 9"),
        ("history", "UPDATE history SET who = 'Ivo'"),
        ("settings", "UPDATE settings SET value = 'greem' WHERE key = 'colour'"),
        ("people", "UPDATE people SET role = 'viewer'"),
        ("earlier_states", "UPDATE earlier_states SET case_file = case_file || ' '"),
        ("sent_forms", "UPDATE sent_forms SET job_id = NULL"),
    ],
)
def test_a_row_that_something_else_changed_breaks_its_seal(store, store_url, table, sql):
    fill(store)
    by_hand(store_url, sql)
    rows = broken(store)
    assert list(rows) == [table]
    assert rows[table]


def test_a_later_write_of_another_row_leaves_a_broken_seal_broken(store, store_url):
    fill(store)
    by_hand(store_url, "UPDATE history SET who = 'Ivo' WHERE seq = 1")
    with store.write("Ines", NOW) as unit:
        unit.jobs.add(a_job("J2"), verb="open")
    assert broken(store) == {"history": ("1",)}


@pytest.mark.sqlite_only("a column of another type than declared")
def test_a_table_that_cannot_be_read_has_no_count(store, store_url):
    fill(store)
    by_hand(store_url, "UPDATE history SET at = 'never' WHERE seq = 1")
    assert broken(store) == {"history": None}


def test_an_upgrade_seals_what_was_written_before_there_were_seals(store_url):
    with open_store(store_url) as store:
        fill(store)
        with store.write("Ines", NOW) as unit:
            unit.history.add_many("count", ["J1"] * 1200, "more than one round")
    downgrade(store_url, "0003")
    upgrade(store_url)
    with open_store(store_url) as store:
        assert broken(store) == {}
        with store.read() as unit:
            assert unit.history.last_seq() > 1200


def test_a_seal_is_the_same_however_a_database_gives_a_value_back():
    table = Base.metadata.tables[HistoryRow.__tablename__]
    there = datetime(2026, 5, 14, 4, 30, tzinfo=timezone(timedelta(hours=-5)))
    row = {"at": there, "who": "Ines", "verb": "open", "job_id": None, "what": ""}
    same = row | {"at": there.astimezone(UTC), "seq": 7, "seal": "x"}
    assert seal_of(table, row) == seal_of(table, same)
    people = Base.metadata.tables[PersonRow.__tablename__]
    assert seal_of(people, {"active": True}) == seal_of(people, {"active": 1})
    assert seal_of(people, {"active": True}) != seal_of(people, {"active": False})


def test_states_that_are_dropped_with_age_leave_the_rest_sealed(store):
    fill(store)
    for number in range(KEPT_STATES + 2):
        with store.write("Ines", NOW) as unit:
            unit.jobs.save(a_full_case("J1", body=f"{number}"), verb="text")
    assert broken(store) == {}
