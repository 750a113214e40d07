import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from kb.retrieval import asked
from kb.retrieval.asked import top_rows
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex


def token(value):
    return Token(part="symptom", field="s|", value=value, what="no heat")


def test_a_reason_says_in_how_many_cases_it_stands_or_that_it_is_otherwise_there():
    cases = [CaseFeatures(case=f"C{i}", tokens=(token("yes" if i else "no"),)) for i in range(3)]
    found = CaseIndex().fit(cases).ask(CaseFeatures(case="Q", tokens=(token("yes"),)))
    said = {match.case: match.reasons[0].what for match in found.best(3)}
    assert said["C1"] == said["C2"] == "no heat (in 2 of 3 cases)"
    assert said["C0"] == "no heat; otherwise there"


@given(st.lists(st.integers(0, 4), min_size=1, max_size=40), st.integers(1, 12))
def test_top_rows_equals_a_full_sort(values, top):
    scores = np.array(values, float)
    expected = sorted(range(len(values)), key=lambda i: (-values[i], i))[:top]
    assert list(top_rows(scores, top)) == expected


@given(st.lists(st.integers(0, 9), min_size=30, max_size=90), st.integers(1, 12), st.integers(1, 7))
def test_the_best_of_blocks_lead_to_the_same_rows(values, top, block):
    scores = np.array(values, np.float32)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(asked, "_MANY", 30)
        patch.setattr(asked, "_BLOCK", block)
        found = top_rows(scores, top).tolist()
    assert found == sorted(range(len(values)), key=lambda i: (-values[i], i))[:top]
