from collections import Counter

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from kb.retrieval.feature_lists import Lists

CASES = st.lists(
    st.lists(st.tuples(st.sampled_from("abcde"), st.integers(1, 9)), max_size=5), max_size=8
)


def lists_of(cases):
    """Return the lists of cases that are pairs of a name and a value."""
    names = [[name for name, _ in case] for case in cases]
    return Lists.of(names, [value for case in cases for _, value in case])


def told(lists):
    """Return the names and values of each case, as they went in."""
    spans = zip(lists.ends, lists.ends[1:], strict=False)
    return [
        [(lists.names[lists.ids[at]], lists.values[at]) for at in range(start, end)]
        for start, end in spans
    ]


def same(one, other):
    arrays = ("ends", "ids", "values")
    return one.names == other.names and all(
        np.array_equal(getattr(one, name), getattr(other, name)) for name in arrays
    )


@given(CASES)
def test_what_goes_in_comes_out_under_names_in_order(cases):
    lists = lists_of(cases)
    assert told(lists) == cases
    assert list(lists.names) == sorted({name for case in cases for name, _ in case})


@given(CASES, CASES)
def test_lists_put_together_are_those_made_at_once(first, second):
    assert same(lists_of(first).then(lists_of(second)), lists_of(first + second))


@given(CASES, st.data())
def test_some_of_the_cases_are_those_made_alone(cases, data):
    rows = sorted(data.draw(st.sets(st.sampled_from(range(len(cases)))))) if cases else []
    taken = lists_of(cases).take(np.array(rows, np.int64))
    assert same(taken, lists_of([cases[row] for row in rows]))


@given(CASES)
def test_names_are_counted_in_order_each_once_a_case(cases):
    names = [[name for name, _ in case] for case in cases]
    assert told(Lists.counted(names)) == [sorted(Counter(case).items()) for case in names]
    assert told(Lists.counted(names, once=True)) == [
        [(name, 1) for name in sorted(set(case))] for case in names
    ]
