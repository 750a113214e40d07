import numpy as np
import pytest

from kb.retrieval.column_arrays import (
    column,
    named,
    named_for,
    pack,
    pack_column,
    pack_named,
    pack_postings,
    part_of,
    unpack,
    unpack_postings,
)
from kb.retrieval.columns import Names, Texts
from kb.retrieval.kept_arrays import Arrays
from kb.retrieval.postings import Postings

WORDS = ["", "brake", "émoussé", "two\nlines"]


@pytest.mark.parametrize("words", [WORDS, [], [""]])
def test_words_come_back_as_they_were_put(words):
    arrays: Arrays = {}
    pack(arrays, "plain", words)
    pack_column(arrays, "column", words)
    assert unpack(arrays, "plain") == words
    assert list(column(arrays, "column")) == words


def test_few_names_and_none_come_back():
    arrays: Arrays = {}
    pack_named(arrays, "causes", ["worn", None, "loose", "worn"])
    assert list(named(arrays, "causes")) == ["worn", None, "loose", "worn"]


def test_rows_come_back_by_key():
    postings = Postings(Names(Texts.of(["a", "b"])), np.array([0, 2, 3]), np.array([0, 2, 1]))
    arrays: Arrays = {}
    pack_postings(arrays, "tokens", postings)
    found = unpack_postings(arrays, "tokens")
    assert [found.of(key).tolist() for key in ("a", "b", "c")] == [[0, 2], [1], []]


def test_arrays_of_several_owners_lie_side_by_side():
    one, other = {"rows": np.arange(2)}, {"rows": np.arange(3), "rows of it": np.arange(4)}
    both = named_for("one", one) | named_for("one of two", other)
    assert part_of(both, "one of two").keys() == other.keys()
    assert len(part_of(both, "one")["rows"]) == 2
