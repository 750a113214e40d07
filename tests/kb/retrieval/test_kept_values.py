from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from kb.retrieval.columns import Names, Texts
from kb.retrieval.kept_values import KeptValues, codes_at, pack_codes, value_arrays
from kb.retrieval.postings import Postings

RNG = np.random.default_rng(11)
# None alike, many alike, one alone.
VALUES = [RNG.normal(size=300), RNG.integers(0, 5, 77) / 10, np.array([4.25])]
ENDS = np.cumsum([0, *map(len, VALUES)])
MEASURES = Postings(Names(Texts.of(["a", "b", "c"])), ENDS, np.zeros(ENDS[-1], np.int32))


@pytest.fixture
def kept():
    return KeptValues(value_arrays(MEASURES, np.concatenate(VALUES)), MEASURES)


def test_values_come_back_to_the_last_bit(kept):
    assert np.asarray(kept).tobytes() == np.concatenate(VALUES).tobytes()
    assert len(kept) == ENDS[-1]
    for key, values in zip(MEASURES.keys, VALUES, strict=True):
        assert np.array_equal(np.asarray(kept[MEASURES.span(key)]), values)


def test_a_quantity_has_its_values_in_order(kept):
    for at, values in enumerate(VALUES):
        assert np.array_equal(np.asarray(kept.population(at)), np.sort(values))


def test_a_quantity_that_nobody_read_has_none(kept):
    assert len(kept[MEASURES.span("never read")]) == 0


def test_without_a_case_there_is_no_value():
    none = Postings({}, np.zeros(1, np.int32), np.zeros(0, np.int32))
    assert len(np.asarray(KeptValues(value_arrays(none, np.zeros(0)), none))) == 0


def test_numbers_of_several_widths_lie_one_after_the_other():
    rows: list[NDArray[Any]] = [
        np.array([1, 2, 3], np.uint8),
        np.array([70_000], np.uint32),
        np.array([300], np.uint16),
    ]
    packed, starts = pack_codes(rows)
    for row, start, top in zip(rows, starts.tolist(), (256, 70_001, 301), strict=False):
        assert codes_at(packed, start, size=len(row), top=top).tolist() == row.tolist()
