import random
from itertools import pairwise

import numpy as np
import pytest

from kb.retrieval.feature_table import FeatureTable
from kb.retrieval.index import CaseIndex
from kb.retrieval.index_fit import IndexFit
from kb.retrieval.text_fit import TextFit
from tests.benchmarks.bench_find import mixed_cases

CASES = sorted(mixed_cases(60, random.Random(3)), key=lambda case: case.case)
WHOLE = CaseIndex().fit(CASES)
LISTS = ("tokens", "fields", "labels", "words", "measures")


def tables(*cuts):
    ends = [0, *cuts, len(CASES)]
    return [FeatureTable.of(CASES[first:last]) for first, last in pairwise(ends)]


@pytest.mark.parametrize("cuts", [(20, 40), (0, 1, 2), (60,)])
def test_cases_that_come_in_chunks_are_fitted_as_all_at_once(cuts):
    found = CaseIndex().fit_tables(tables(*cuts))
    assert (found.ids_, found.causes_, found.stated_) == (WHOLE.ids_, WHOLE.causes_, WHOLE.stated_)
    assert np.array_equal(found.weights_, WHOLE.weights_)
    assert np.array_equal(found.values_, WHOLE.values_)
    for name in LISTS:
        ours, theirs = (getattr(index, f"{name}_") for index in (found, WHOLE))
        if name == "fields":
            ours, theirs = ours.plain(), theirs.plain()
        assert list(ours.keys) == list(theirs.keys)
        assert np.array_equal(ours.pointers, theirs.pointers)
        assert np.array_equal(ours.rows, theirs.rows)
    for query in mixed_cases(5, random.Random(9)):
        assert np.array_equal(found.scores(query), WHOLE.scores(query))


def test_no_case_at_all_can_be_fitted():
    found = CaseIndex().fit_tables([])
    assert (len(found), len(found.texts_.words)) == (0, 0)
    assert found.tokens_.of("code|P0300\tstored").tolist() == []


def test_a_repeated_value_is_held_once():
    fit = IndexFit(TextFit())
    for table in tables(30):
        fit.count(table)
    causes = [cause for cause in fit.plain("causes") if cause is not None]
    assert len({id(cause) for cause in causes}) == len(set(causes)) > 1
