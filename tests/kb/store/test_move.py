from datetime import date, timedelta

import pytest
from sqlalchemy import Boolean, Date, Double, Integer, func, insert, select

from kb.errors import StoreError
from kb.store import move, seals
from kb.store.columns import Base, UtcTime, Words
from kb.store.engine import begin, default_url, make_engine, open_store
from kb.store.move import move_shop
from kb.store.seals import broken_seals, sealed_tables
from tests.factories import a_full_case, make_store
from tests.kb.store.by_hand import by_hand
from tests.kb.store.other_process import NOW

# One value for every type of column, with signs that a careless copy would lose.
VALUES = [
    (Words, ("say “ah”", "ä")),
    (UtcTime, NOW + timedelta(microseconds=1)),
    (Boolean, True),
    (Integer, 3),
    (Double, 0.1),
    (Date, date(2026, 5, 14)),
]


def value_for(column):
    return next((value for kind, value in VALUES if isinstance(column.type, kind)), "ß'\"\\\n€")


def fill(url):
    """Write a full case, then a row into every table that is empty still."""
    with open_store(url) as store, store.write("Ines", NOW) as unit:
        unit.jobs.add(a_full_case("J1"), verb="import")
        gone = unit.people.add("Ivo", "viewer")
        unit.connection.execute(
            Base.metadata.tables["people"]
            .delete()
            .where(Base.metadata.tables["people"].c.id == gone)
        )
        for table in Base.metadata.sorted_tables:
            if unit.connection.scalar(select(func.count()).select_from(table)):
                continue
            row = {c.name: value_for(c) for c in table.c if c.name != "seal"}
            for key in table.foreign_keys:
                row[key.parent.name] = unit.connection.scalar(select(key.column))
            if table.autoincrement_column is not None:
                del row[table.autoincrement_column.name]
            unit.connection.execute(insert(table).values(row))


def rows_of(url):
    engine = make_engine(url)
    with begin(engine, writes=False) as connection:
        found = {
            table.name: connection.execute(select(table).order_by(*table.primary_key)).all()
            for table in Base.metadata.sorted_tables
        }
    engine.dispose()
    return found


@pytest.fixture
def other_url(request, store_url, tmp_path):
    """Return the URL of an empty database of the other engine."""
    if store_url.startswith("sqlite"):
        return request.getfixturevalue("empty_postgres_url")
    return default_url(tmp_path / "other")


def test_a_shop_moves_to_the_other_engine_with_every_row_of_every_table(store_url, other_url):
    fill(store_url)
    before = rows_of(store_url)
    assert all(before.values()), "every table holds something"
    moved = move_shop(store_url, other_url)
    assert rows_of(other_url) == before == rows_of(store_url)
    assert moved == {name: len(rows) for name, rows in before.items()}
    with open_store(other_url) as store, store.read() as unit:
        assert unit.jobs.get("J1") == a_full_case("J1")
        assert [broken_seals(unit.connection, table) for table in sealed_tables()] == [()] * len(
            sealed_tables()
        )


def test_a_shop_that_moved_away_and_back_is_the_same(store_url, other_url, postgres, tmp_path):
    fill(store_url)
    move_shop(store_url, other_url)
    home = default_url(tmp_path / "home")
    move_shop(other_url, home)
    assert rows_of(home) == rows_of(store_url)


def test_no_number_is_given_out_twice_after_a_move(store_url, other_url):
    fill(store_url)
    move_shop(store_url, other_url)
    with open_store(other_url) as store, store.write("Ines", NOW) as unit:
        last = unit.history.last_seq()
        assert unit.people.add("Mara", "owner") == 3, "1 was taken out again, 2 is there"
        assert unit.history.last_seq() == last + 1
        assert unit.jobs.next_id() == "J000001"


def test_a_database_with_a_shop_in_it_is_refused_and_left_alone(store_url, other_url):
    fill(store_url)
    make_store(other_url)
    with open_store(other_url) as store, store.write("Mara", NOW) as unit:
        unit.settings.set("colour", "blue")
    before = rows_of(other_url)
    with pytest.raises(StoreError, match=r"empty database to move into, got 1 rows in settings"):
        move_shop(store_url, other_url)
    assert rows_of(other_url) == before


def test_a_damaged_job_is_not_moved(store_url, other_url):
    fill(store_url)
    by_hand(store_url, "UPDATE lines SET text = 'cold'")
    with pytest.raises(StoreError, match="got J1 changed before the move; run baybook doctor"):
        move_shop(store_url, other_url)


def test_what_arrives_changed_is_not_kept(store_url, other_url, monkeypatch):
    fill(store_url)
    plain = seals.plain_value
    seen = []

    def once_wrong(value):
        seen.append(value)
        return "rot" if len(seen) == 40 else plain(value)

    monkeypatch.setattr(move, "plain_value", once_wrong)
    with pytest.raises(StoreError, match="that differ; nothing was moved"):
        move_shop(store_url, other_url)
    rows = rows_of(other_url)
    assert sum(len(found) for found in rows.values()) == len(rows["generation"]) == 1


def test_a_database_moves_not_into_itself(store_url, monkeypatch):
    fill(store_url)
    monkeypatch.setattr("kb.store.engine.BUSY_MILLISECONDS", 50)
    with pytest.raises(StoreError, match=r"lock|empty database to move into"):
        move_shop(store_url, store_url)


def test_a_shop_that_is_not_there_is_not_moved(tmp_path):
    with pytest.raises(StoreError, match="got no file; run baybook init"):
        move_shop(default_url(tmp_path), default_url(tmp_path / "new"))
    assert list(tmp_path.iterdir()) == []
