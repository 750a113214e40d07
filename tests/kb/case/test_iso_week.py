from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.case.iso_week import IsoWeek
from kb.errors import ParseError

days = st.dates(min_value=date(1950, 1, 2), max_value=date(2200, 1, 1))


@pytest.mark.source(
    "ISO 8601", "first week of a year: the one with its first Thursday; from memory"
)
@pytest.mark.parametrize(
    ("day", "name"),
    [
        (date(2026, 11, 22), "2026-W47"),
        (date(2026, 11, 23), "2026-W48"),
        (date(2021, 1, 3), "2020-W53"),
        (date(2024, 12, 30), "2025-W01"),
    ],
)
def test_a_day_lies_in_its_week(day, name):
    assert str(IsoWeek.of(day)) == name
    assert IsoWeek.parse(name) == IsoWeek.of(day)


@given(days, st.integers(-200, 200))
def test_weeks_count_on_over_the_years(day, weeks):
    week = IsoWeek.of(day)
    assert week.monday <= day <= week.sunday
    assert week.shifted(weeks).since(week) == weeks
    assert IsoWeek.of(week.shifted(weeks).sunday) == week.shifted(weeks)
    assert IsoWeek.parse(str(week)) == week


@given(days)
def test_the_last_whole_week_is_over(day):
    week = IsoWeek.last_whole(day)
    assert week.sunday < day <= week.sunday + timedelta(days=7)


@pytest.mark.parametrize(
    "typed",
    ["", "2026-W60", "2026-W00", "W47", "2026-47", "0000-W01", "1899-W52", "9999-W01", "x" * 99],
)
def test_what_is_no_week_is_said(typed):
    with pytest.raises(ParseError, match="expected a week like 2026-W47"):
        IsoWeek.parse(typed)
