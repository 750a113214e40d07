import numpy as np

from kb.retrieval.postings import Postings

POSTINGS = Postings({"a": 0, "b": 1}, np.array([0, 2, 3]), np.array([0, 2, 1]))


def test_postings_hold_the_rows_of_every_key():
    assert POSTINGS.of("a").tolist() == [0, 2]
    assert POSTINGS.of("b").tolist() == [1]
    assert POSTINGS.span("b") == slice(2, 3)


def test_an_unknown_key_has_no_rows():
    assert POSTINGS.of("z").tolist() == []
