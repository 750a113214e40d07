import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.case.one_line import one_line


@pytest.mark.parametrize(
    ("typed", "kept"),
    [
        ("  a \t b\r\n c ", "a b c"),
        ("e\u0301tat", "\u00e9tat"),
        ("ring\x07 the\u202e bell", "ring the bell"),
        (" \n ", ""),
    ],
)
def test_a_line_has_single_blanks_and_only_what_can_be_shown(typed, kept):
    assert one_line(typed) == kept


@given(st.text())
def test_what_is_one_line_can_be_shown(typed):
    assert one_line(typed).isprintable()
