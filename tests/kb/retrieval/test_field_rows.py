import numpy as np
import pytest

from kb.retrieval.columns import Names, Texts
from kb.retrieval.features import field_of, token_key
from kb.retrieval.field_rows import FEW_VALUES, FieldRows
from kb.retrieval.postings import Postings

MANY = {f"v{n}": [n] for n in range(FEW_VALUES + 1)}
VALUES: dict[str, dict[str, list[int]]] = {
    "one": {"yes": [1, 4, 6]},
    "apart": {"cold": [2, 5], "warm": [0, 3]},
    "twice": {"low": [1, 2], "high": [2, 7]},
    "many": MANY,
    "tab": {"a": [0], "z": [9]},
    "tab\tin it": {"b": [3, 8]},
}
LISTS = sorted(
    (token_key(field, value), rows)
    for field, values in VALUES.items()
    for value, rows in values.items()
)
TOKENS = Postings(
    Names(Texts.of(key for key, _ in LISTS)),
    np.cumsum([0, *(len(rows) for _, rows in LISTS)]).astype(np.int32),
    np.concatenate([rows for _, rows in LISTS]).astype(np.int32),
)
FOUND = FieldRows.of_tokens(TOKENS)


@pytest.mark.parametrize("field", VALUES)
def test_a_field_has_the_rows_of_all_its_values_once(field):
    wanted = sorted({row for rows in VALUES[field].values() for row in rows})
    assert FOUND.of(field).tolist() == wanted
    assert FOUND.count(field) == len(wanted)


def test_rows_are_held_twice_only_where_values_overlap_or_are_many_or_stand_apart():
    held = {field for field in FOUND.keys if len(FOUND.own.of(field))}
    assert held == {"twice", "many", "tab"}


def test_an_unknown_field_has_no_rows():
    assert FOUND.of("never recorded").tolist() == []
    assert FOUND.count("never recorded") == 0


def test_plain_postings_say_the_same():
    plain = FOUND.plain()
    assert list(plain.keys) == sorted({field_of(key) for key, _ in LISTS})
    assert all(plain.of(field).tolist() == FOUND.of(field).tolist() for field in VALUES)


def test_no_case_no_field():
    none = FieldRows.of_tokens(Postings({}, np.zeros(1, np.int32), np.zeros(0, np.int32)))
    assert (len(none.keys), len(none.plain().rows)) == (0, 0)
