import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.retrieval.levels import Coded, Levels, code_type

NUMBERS = st.lists(st.sampled_from([-2.5, -0.0, 0.0, 1e-300, 0.1, 12.6, 1e9]), max_size=40)


@given(NUMBERS)
def test_numbers_come_back_to_the_last_bit(numbers):
    values = np.array(numbers, np.float64)
    assert np.asarray(Coded.of(values)).tobytes() == values.tobytes()


@given(NUMBERS, st.sampled_from([-3.0, -2.5, 0.0, -0.0, 0.05, 12.6, 1e10]))
def test_what_is_looked_for_stands_where_it_stands_among_all_in_order(numbers, wanted):
    ordered = Coded.of(np.array(numbers, np.float64)).ordered()
    plain = np.sort(np.array(numbers, np.float64))
    assert len(ordered) == len(plain)
    assert np.array_equal(np.asarray(ordered), plain)
    for side in ("left", "right"):
        assert ordered.searchsorted(wanted, side=side) == plain.searchsorted(wanted, side=side)
        several = [wanted, 0.1]
        assert np.array_equal(
            ordered.searchsorted(several, side=side), plain.searchsorted(several, side=side)
        )
    if len(plain):
        places = [0, len(plain) // 2, len(plain) - 1]
        assert ordered[places].tolist() == plain[places].tolist()
        assert float(ordered[len(plain) - 1]) == plain[-1]


def test_numbers_of_which_none_is_alike_are_their_own_order():
    assert not isinstance(Coded.of(np.array([3.0, 1.0])).ordered(), Levels)
    assert isinstance(Coded.of(np.array([3.0, 1.0, 3.0])).ordered(), Levels)


def test_a_number_is_read_at_one_place_and_at_several():
    coded = Coded.of(np.array([12.6, -1.0, 12.6]))
    assert (float(coded[1]), coded[[0, 2]].tolist(), len(coded)) == (-1.0, [12.6, 12.6], 3)


@pytest.mark.parametrize(("size", "width"), [(0, 1), (256, 1), (257, 2), (65_536, 2), (65_537, 4)])
def test_numbers_from_0_on_take_as_few_bytes_as_hold_them(size, width):
    assert code_type(size).itemsize == width
