from collections import defaultdict

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from kb.retrieval.gathered import GatheredLists
from tests.kb.retrieval.test_feature_lists import CASES, lists_of


@given(st.lists(CASES, max_size=4))
def test_postings_hold_the_cases_of_each_name_in_order_and_their_values(chunks):
    expected = defaultdict(list)
    for row, case in enumerate(case for cases in chunks for case in cases):
        for name, value in case:
            expected[name].append((row, value))
    gathered, made = GatheredLists(np.float64), [lists_of(cases) for cases in chunks]
    for lists in made:
        gathered.count(lists)
    for lists in made:
        gathered.put(lists)
    postings, values = gathered.postings()
    assert list(postings.keys) == sorted(expected)
    for name, pairs in expected.items():
        span = postings.span(name)
        assert list(zip(postings.rows[span], values[span], strict=True)) == pairs


def test_values_are_left_out_where_none_are_wanted():
    lists, gathered = lists_of([[("a", 2)], [("a", 3)]]), GatheredLists()
    gathered.count(lists)
    gathered.put(lists)
    postings, values = gathered.postings()
    assert postings.of("a").tolist() == [0, 1]
    assert len(values) == 0
