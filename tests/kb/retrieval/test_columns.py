import pytest

from kb.retrieval.columns import Named, Names, Texts

# Letters of one to four bytes, none, and one that no UTF-8 text has.
WORDS = ["", "a", "brake", "über", "\u20ac", "\U0001f697", "\ud800"]


def test_words_come_back_by_row_in_parts_and_from_the_end():
    column = Texts.of(WORDS)
    assert [column[row] for row in range(len(WORDS))] == WORDS == list(column)
    assert (column[-2], column[1:3]) == (WORDS[-2], ("a", "brake"))
    assert column == tuple(WORDS)
    assert column != tuple(WORDS[:-1])


@pytest.mark.parametrize("row", [len(WORDS), -len(WORDS) - 1])
def test_a_row_that_is_not_there_is_an_error(row):
    with pytest.raises(IndexError, match="expected a row from 0 to 6"):
        Texts.of(WORDS)[row]


def test_rows_of_few_names_come_back_with_those_that_have_none():
    values = ["fan", None, "belt", "fan", ""]
    column = Named.of(values)
    assert list(column) == values == [column[row] for row in range(5)]
    assert [column.names[code] for code in column.codes if code >= 0] == ["fan", "belt", "fan", ""]
    assert column.codes.tolist() == [2, -1, 1, 2, 0]


def test_an_empty_column_has_no_row():
    assert Texts.of([]) == () == Named.of([])


@pytest.mark.parametrize("size", [127, 128, 129, 300, 40_000])
def test_codes_have_room_for_every_name(size):
    names = [f"{number:06}" for number in range(size)]
    assert list(Named.of(names)) == names


def test_a_name_is_found_by_its_place_and_another_is_not():
    names = Names(Texts.of(sorted(WORDS)))
    assert [names[word] for word in sorted(WORDS)] == list(range(len(WORDS)))
    assert (list(names), len(names)) == (sorted(WORDS), len(WORDS))
    for other in ("0", "ab", "brak", "brakes", "z", "\udfff"):
        assert names.get(other) is None
    assert "a" not in Names(Texts.of([]))


def test_a_name_is_found_the_same_when_it_is_asked_for_again():
    names = Names(Texts.of(["a", "b", "ü"]))
    for _ in range(2):
        assert [names.get(name) for name in ("ü", "x", "a")] == [2, None, 0]
        assert names.get("x", -1) == -1
        assert "b" in names
        assert "x" not in names
        with pytest.raises(KeyError):
            names["x"]
