import pytest

from kb.case.place_text import LONGEST_PLACE, place_text
from kb.errors import ParseError


@pytest.mark.parametrize(
    ("typed", "place"),
    [("  left   front ", "left front"), ("", None), (" \t\n", None), ("Zylinder für 3", "Zylinder für 3")],
)  # fmt: skip
def test_a_place_is_kept_with_single_blanks_and_nothing_is_none(typed, place):
    assert place_text(typed) == place


@pytest.mark.parametrize("typed", ["x" * (LONGEST_PLACE + 1), "a\0b", "a\u202eb"])
def test_what_is_no_place_is_refused_with_what_was_expected(typed):
    with pytest.raises(ParseError, match="expected a place"):
        place_text(typed)
    assert place_text("x" * LONGEST_PLACE) == "x" * LONGEST_PLACE
