from dataclasses import replace

import numpy as np
import pytest

from kb.retrieval.index import CaseIndex
from kb.retrieval.learn import fit_learned, half_told
from tests.kb.retrieval.test_learn import ask, cases


@pytest.fixture(scope="module")
def learned():
    return fit_learned(cases())


def test_a_stored_field_that_the_words_point_to_lifts_its_case(learned):
    index = CaseIndex().fit(cases()).attach(learned)
    found = index.search(ask("pump noisy"), top=1)[0]
    lines = {reason.what: reason.weight for reason in found.reasons if reason.part == "learned"}
    assert lines["the words point to part pump"] > 0


def test_a_case_without_the_field_gets_exactly_0(learned):
    rows = cases()
    rows[5] = replace(rows[5], labels=())
    index = CaseIndex().fit(rows)
    before = index.scores(ask("fan dead"))
    after = index.attach(replace(learned, spelling=None)).scores(ask("fan dead"))
    assert after[5] == before[5]
    assert np.all(after[:5] != before[:5])


@pytest.mark.parametrize("text", ["", "zzz qqq"])
def test_a_text_without_a_known_word_changes_nothing(learned, text):
    index = CaseIndex().fit(cases())
    before = index.scores(ask(text))
    assert np.array_equal(index.attach(learned).scores(ask(text)), before)


def test_the_weights_of_the_reasons_add_up_with_what_was_learned(learned):
    index = CaseIndex().fit(cases()).attach(learned)
    for match in index.search(ask("rear hose split"), top=48):
        assert sum(r.weight for r in match.reasons) == pytest.approx(match.score, abs=1e-4)


def test_a_half_told_job_is_read_as_well(learned):
    index = CaseIndex().fit(cases()).attach(learned)
    best = index.search(ask(half_told("front fan dead again")), top=3)
    assert half_told("front fan dead again") == "front dead"
    assert all(("sign", "fan dead") in cases()[match.row].labels for match in best)
