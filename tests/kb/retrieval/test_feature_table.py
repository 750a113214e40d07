import random

import numpy as np
import pytest

from kb.retrieval.feature_table import LISTS, PLAIN, FeatureTable
from kb.retrieval.index import CaseIndex
from tests.benchmarks.bench_find import mixed_cases

CASES = mixed_cases(60, random.Random(3))
MARKS = [f"mark {case.case}" for case in CASES]
WHOLE = FeatureTable.of(CASES, MARKS)


def same(one, other):
    plain = all(getattr(one, name) == getattr(other, name) for name in PLAIN)
    lists = [(getattr(one, name), getattr(other, name)) for name in LISTS]
    return (
        plain
        and np.array_equal(one.weights, other.weights)
        and all(a.names == b.names for a, b in lists)
        and all(
            np.array_equal(getattr(a, part), getattr(b, part))
            for a, b in lists
            for part in ("ends", "ids", "values")
        )
    )


def test_the_order_in_which_cases_come_changes_nothing():
    order = random.Random(4).sample(range(60), 60)
    other = FeatureTable.of([CASES[at] for at in order], [MARKS[at] for at in order])
    assert same(other, WHOLE)
    assert list(WHOLE.cases) == sorted(case.case for case in CASES)
    assert WHOLE.marks[5] == f"mark {WHOLE.cases[5]}"


@pytest.mark.parametrize("cut", [0, 1, 30, 60])
def test_parts_put_together_are_the_whole(cut):
    order = random.Random(cut).sample(range(60), 60)
    parts = [
        FeatureTable.of([CASES[at] for at in some], [MARKS[at] for at in some])
        for some in (order[:cut], order[cut:])
    ]
    assert same(parts[0].with_others(parts[1]), WHOLE)


def test_what_is_taken_and_put_back_is_the_whole():
    few = WHOLE.take(range(0, 60, 3))
    assert len(few) == 20
    assert same(few.with_others(WHOLE.take([row for row in range(60) if row % 3])), WHOLE)


def test_an_index_of_the_table_is_the_index_of_the_cases():
    ours, theirs = CaseIndex().fit_tables([WHOLE]), CaseIndex().fit(CASES)
    for query in mixed_cases(5, random.Random(9)):
        assert np.array_equal(ours.scores(query), theirs.scores(query))
