import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.workflow.week.rows import KINDS, Level, WeekRow, key_of

texts = st.text(max_size=8)
rows = st.builds(
    WeekRow,
    kind=st.sampled_from(KINDS),
    subject=st.lists(texts, max_size=2).map(tuple),
    level=st.sampled_from(Level),
    strength=st.floats(allow_nan=False, allow_infinity=False),
    numbers=st.dictionaries(texts, st.none() | st.integers() | texts | st.lists(texts)),
    cases=st.lists(texts, max_size=3).map(tuple),
)


@given(rows)
def test_a_row_comes_back_from_json_as_it_was(row):
    assert WeekRow.from_json(json.loads(json.dumps(row.as_json()))) == row


def test_pressing_rows_stand_first_and_strong_ones_before_weak_ones():
    know = WeekRow(kind="safety", level=Level.KNOW, strength=9.0)
    look = WeekRow(kind="unread_word", level=Level.LOOK)
    weak = WeekRow(kind="rising_cause", subject=("a",), level=Level.ACT, strength=1.0)
    strong = WeekRow(kind="rising_cause", subject=("b",), level=Level.ACT, strength=2.0)
    came = WeekRow(kind="came_back", level=Level.ACT)
    found = sorted([know, look, weak, strong, came], key=lambda row: row.place)
    assert found == [came, strong, weak, look, know]


def test_a_row_of_an_unknown_kind_is_refused():
    row = WeekRow(kind="safety").as_json() | {"kind": "weather"}
    with pytest.raises(ValueError, match="got 'weather'"):
        WeekRow.from_json(row)


def test_no_kind_is_named_twice():
    assert len(set(KINDS)) == len(KINDS)


@given(st.lists(texts, min_size=1, max_size=4), st.lists(texts, min_size=1, max_size=4))
def test_rows_about_other_things_never_share_a_key(one, other):
    assert (key_of(*one) == key_of(*other)) == (one == other)


def test_a_colon_in_a_name_does_not_make_it_two():
    rows = [WeekRow(kind="failed_part", subject=each) for each in (("a:b", "c"), ("a", "b:c"))]
    assert rows[0].key != rows[1].key
