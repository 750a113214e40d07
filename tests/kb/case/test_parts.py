import pytest

from kb.case.parts import MAX_WORDS, FittedPart, read_part


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("fan, Northgate, 2631", FittedPart(part="fan", supplier="Northgate", lot="2631")),
        ("  water   pump ", FittedPart(part="water pump")),
        ("pump,,L7", FittedPart(part="pump", lot="L7")),
        ("pump, S, a, b", FittedPart(part="pump", supplier="S", lot="a, b")),
        ("pump\x1b[2J, \u202eS\x00", FittedPart(part="pump[2J", supplier="S")),
        ("", None),
        (" , Northgate", None),
    ],
)
def test_a_part_is_read_as_it_is_typed(typed, expected):
    assert read_part(typed) == expected


def test_a_long_word_is_cut():
    made = read_part("x" * 500)
    assert made is not None
    assert len(made.part) == MAX_WORDS
