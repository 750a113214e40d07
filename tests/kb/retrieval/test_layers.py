"""Later layers over an index: the same answers, to the last bit, in whichever layer a case is."""

import random
from dataclasses import replace

import numpy as np
import pytest

from kb.errors import EmptyIndexError
from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import CaseIndex
from kb.retrieval.layer import Layer
from kb.retrieval.layers import LayeredIndex
from tests.benchmarks.bench_find import mixed_cases

CASES = mixed_cases(400, random.Random(5))
ASKED = [replace(case, case="Q", told="") for case in mixed_cases(25, random.Random(6))]
BASE = CaseIndex().fit(CASES[:300])
LATER = CASES[300:]


def whole(cases: list[CaseFeatures]) -> CaseIndex:
    """Return one index of all cases, with everything worth what it is worth in the base."""
    return Layer(BASE).fit(cases)


def test_layers_give_the_scores_of_one_index_to_the_last_bit():
    layered = LayeredIndex(BASE)
    for start in range(0, 100, 7):
        some = LATER[start : start + 7]
        layered = layered.changed(some, [case.case for case in some])
    assert 2 < len(layered.layers) < 9
    one = whole(CASES)
    for query in ASKED:
        expected, found = one.ask(query), layered.ask(query)
        at = [layered.row_of(case) or 0 for case in one.ids_]
        assert np.array_equal(expected.scores, found.scores[at])
        assert [(m.case, m.score, m.reasons) for m in expected.best(20)] == [
            (m.case, m.score, m.reasons) for m in found.best(20)
        ]


def test_a_base_of_its_own_has_the_scores_of_a_layer():
    again = whole(CASES[:300])
    for query in ASKED:
        assert np.array_equal(BASE.scores(query), again.scores(query))


def test_a_changed_case_is_found_as_it_is_now_and_a_withdrawn_one_not_at_all():
    changed = replace(CASES[7], said="squeal from the left window when it rains")
    withdrawn = CASES[8]
    layered = LayeredIndex(BASE).changed([changed], [changed.case, withdrawn.case])
    assert len(layered) == 299
    asked = CaseFeatures(case="Q", said="window squeals left in rain")
    assert layered.search(asked)[0].case == changed.case
    found = layered.ask(replace(withdrawn, case="Q")).best(400)
    ids = [match.case for match in found]
    assert withdrawn.case not in ids
    assert sorted(ids) == sorted(case.case for case in CASES[:300] if case is not withdrawn)
    assert layered.row_of(withdrawn.case) is None
    assert layered.row_of(changed.case) == 300


def test_a_case_that_changes_twice_is_there_once():
    layered = LayeredIndex(BASE)
    for word in ("one", "two", "three"):
        case = replace(CASES[7], said=word)
        layered = layered.changed([case], [case.case])
    assert len(layered) == 300
    asked = layered.ask(CaseFeatures(case="Q", said="three"))
    assert [m.case for m in asked.best(400)].count(CASES[7].case) == 1
    assert asked.best(1)[0].case == CASES[7].case


def test_ties_are_in_the_order_of_case_ids_across_layers():
    same = [CaseFeatures(case=f"C{at}", said="cold start rattle") for at in range(9)]
    base = CaseIndex().fit([same[at] for at in (1, 4, 7)])
    layered = LayeredIndex(base)
    for at in (8, 0, 5, 2, 3, 6):
        layered = layered.changed([same[at]], [same[at].case])
    asked = layered.ask(CaseFeatures(case="Q", said="cold start rattle"))
    assert [match.case for match in asked.best(9)] == [case.case for case in same]
    assert [match.case for match in asked.best(4)] == [case.case for case in same[:4]]


def test_only_the_wanted_cases_are_shown_where_some_are_named():
    layered = LayeredIndex(BASE).changed(LATER[:5], [case.case for case in LATER[:5]])
    wanted = {CASES[3].case, LATER[2].case, "no such case"}
    found = layered.ask(ASKED[0]).best(10, wanted)
    assert {match.case for match in found} == {CASES[3].case, LATER[2].case}


def test_the_query_itself_is_left_out():
    layered = LayeredIndex(BASE).changed(LATER[:1], [LATER[0].case])
    assert LATER[0].case not in [match.case for match in layered.search(LATER[0], top=300)]


def test_columns_run_on_through_the_layers():
    layered = LayeredIndex(BASE).changed(LATER[:3], [case.case for case in LATER[:3]])
    assert list(layered.ids_) == [case.case for case in CASES[:303]]
    assert [layered.causes_[row] for row in (0, 299, 300, 302)] == [
        CASES[row].cause for row in (0, 299, 300, 302)
    ]
    assert layered.weights_of([0, 301]).tolist() == [CASES[0].weight, CASES[301].weight]


def test_nothing_left_is_said():
    layered = LayeredIndex(CaseIndex().fit(CASES[:1])).changed([], [CASES[0].case])
    with pytest.raises(EmptyIndexError, match="expected at least 1 closed case"):
        layered.search(ASKED[0])
