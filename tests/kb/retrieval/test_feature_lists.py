from collections import defaultdict

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from kb.retrieval.feature_lists import Lists, counted_words, once

CASES = st.lists(
    st.lists(st.tuples(st.sampled_from("abcde"), st.integers(1, 9)), max_size=5), max_size=8
)


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
    lists = Lists.of(cases)
    assert told(lists) == cases
    assert list(lists.names) == sorted({name for case in cases for name, _ in case})


@given(CASES, CASES)
def test_lists_put_together_are_those_made_at_once(first, second):
    assert same(Lists.of(first).then(Lists.of(second)), Lists.of(first + second))


@given(CASES, st.data())
def test_some_of_the_cases_are_those_made_alone(cases, data):
    rows = sorted(data.draw(st.sets(st.sampled_from(range(len(cases)))))) if cases else []
    taken = Lists.of(cases).take(np.array(rows, np.int64))
    assert same(taken, Lists.of([cases[row] for row in rows]))


@given(CASES)
def test_postings_hold_the_cases_of_each_name_in_order_and_their_values(cases):
    expected = defaultdict(list)
    for row, case in enumerate(cases):
        for name, value in case:
            expected[name].append((row, value))
    postings, values = Lists.of(cases).postings()
    assert set(postings.keys) == set(expected)
    for name, pairs in expected.items():
        span = postings.span(name)
        assert list(zip(postings.rows[span], values[span], strict=True)) == pairs


def test_names_that_become_one_are_there_once_a_case():
    lists = Lists.of(
        [[("belt good", 1), ("belt torn", 1), ("hose soft", 1)], [], [("belt torn", 1)]]
    )
    fields = lists.named(lambda name: name.partition(" ")[0])
    assert told(fields) == [[("belt", 1), ("hose", 1)], [], [("belt", 1)]]
    assert Lists.of([]).named(str).names == ()


def test_words_come_in_order_with_their_counts_and_names_once():
    assert counted_words("hot then cold then hot") == [("cold", 1), ("hot", 2), ("then", 2)]
    assert once(["b", "a", "b"]) == [("b", 1.0), ("a", 1.0)]
