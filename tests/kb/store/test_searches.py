from datetime import UTC, datetime, timedelta

import pytest

from kb.errors import StoreError
from kb.store.searches import MAX_KEPT, LostSearch

DAY = datetime(2026, 5, 4, 23, 0, tzinfo=UTC)


def kept(store, moment=DAY - timedelta(days=9)):
    with store.read() as unit:
        return unit.searches.since(moment)


def lose(store, who, text, *, at=DAY, vehicle=""):
    with store.write(who, at) as unit:
        unit.searches.add(text, vehicle)


def test_a_lost_search_is_kept_once_for_each_person_text_and_day(store):
    lose(store, "Ines", " zorble at the frunk ", vehicle="2016 Pellarin Copse")
    lose(store, "Ines", "zorble at the frunk", at=DAY + timedelta(minutes=30))
    lose(store, "Otto", "zorble at the frunk")
    lose(store, "Ines", "other")
    lose(store, "Ines", "zorble at the frunk", at=DAY + timedelta(hours=2))
    rows = kept(store)
    assert rows[0] == LostSearch(
        at=DAY, who="Ines", text="zorble at the frunk", vehicle="2016 Pellarin Copse"
    )
    assert [(row.who, row.text) for row in rows] == [
        ("Ines", "zorble at the frunk"),
        ("Otto", "zorble at the frunk"),
        ("Ines", "other"),
        ("Ines", "zorble at the frunk"),
    ]
    assert kept(store, DAY + timedelta(hours=1)) == rows[3:]


def test_a_search_is_known_to_be_kept_for_that_person_on_that_day_alone(store):
    lose(store, "Ines", " zorble at the frunk ")
    with store.read() as unit:
        asked = [("Ines", DAY, "zorble at the frunk"), ("Otto", DAY, "zorble at the frunk"),
                 ("Ines", DAY + timedelta(hours=2), "zorble at the frunk"), ("Ines", DAY, "other")]  # fmt: skip
        held = [unit.searches.holds(text, who=who, at=at) for who, at, text in asked]
    assert held == [True, False, False, False]


def test_a_long_search_is_cut_and_a_unit_that_reads_keeps_none(store):
    lose(store, "Ines", "x" * (MAX_KEPT + 1))
    assert [len(row.text) for row in kept(store)] == [MAX_KEPT]
    with store.read() as unit, pytest.raises(StoreError, match=r"Store\.write"):
        unit.searches.add("zorble")


def test_a_lost_search_is_no_write_of_a_job(store):
    before = store.generation()
    lose(store, "Ines", "zorble")
    assert store.generation() == before
