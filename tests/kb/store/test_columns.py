from datetime import UTC, datetime, timedelta, timezone

import pytest
from sqlalchemy.dialects import sqlite

from kb.store.columns import UtcTime, Words

DIALECT = sqlite.dialect()


@pytest.mark.parametrize("words", [None, (), ("a",), ('say "ah"', "ä", "[")])
def test_words_come_back_as_they_went_in(words):
    stored = Words().process_bind_param(words, DIALECT)
    assert Words().process_result_value(stored, DIALECT) == words


def test_words_are_stored_as_readable_json():
    assert Words().process_bind_param(("kühl", "b"), DIALECT) == '["kühl", "b"]'


def test_a_moment_is_stored_in_utc_and_comes_back_with_its_zone():
    there = datetime(2026, 5, 14, 4, 30, tzinfo=timezone(timedelta(hours=-5)))
    stored = UtcTime().process_bind_param(there, DIALECT)
    assert stored == datetime(2026, 5, 14, 9, 30)  # noqa: DTZ001 - as the database keeps it
    loaded = UtcTime().process_result_value(stored, DIALECT)
    assert loaded == there
    assert loaded is not None
    assert loaded.tzinfo is UTC


def test_no_moment_stays_none():
    assert UtcTime().process_bind_param(None, DIALECT) is None
    assert UtcTime().process_result_value(None, DIALECT) is None
