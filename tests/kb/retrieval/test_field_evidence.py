"""Agreement and conflict of one field, where a case has one value of it, and where it has two."""

import numpy as np
import pytest

from kb.retrieval import field_evidence
from kb.retrieval.asked import OfSome
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex
from kb.retrieval.learned import Learned


def token(value, field="belt|"):
    return Token(part="finding", field=field, value=value, what=f"belt {value}")


def index(*values):
    return CaseIndex().fit(
        [
            CaseFeatures(case=f"C{at}", tokens=tuple(map(token, some)))
            for at, some in enumerate(values)
        ]
    )


def reasons(found, *asked):
    query = CaseFeatures(case="Q", tokens=tuple(map(token, asked)))
    rows = found.ask(query).best(10)
    return {row.case: [reason.what.partition(" (")[0] for reason in row.reasons] for row in rows}


@pytest.mark.parametrize("few", [0, 6])
def test_a_case_with_another_value_loses_and_one_without_the_field_does_not(monkeypatch, few):
    monkeypatch.setattr(field_evidence, "FEW_VALUES", few)
    found = index(["glazed"], ["good"], ["torn"], [])
    assert reasons(found, "glazed") == {
        "C0": ["belt glazed"],
        "C1": ["belt glazed; otherwise there"],
        "C2": ["belt glazed; otherwise there"],
        "C3": [],
    }


def test_both_ways_give_the_same_scores(monkeypatch):
    query = CaseFeatures(case="Q", tokens=(token("glazed"),))
    one = index(["glazed"], ["good"], ["torn"], []).scores(query).tolist()
    monkeypatch.setattr(field_evidence, "FEW_VALUES", 0)
    assert index(["glazed"], ["good"], ["torn"], []).scores(query).tolist() == one
    assert one[1] < one[3] == 0 < one[0]


def test_a_case_with_two_values_agrees_with_either():
    found = index(["glazed", "torn"], ["good"], ["torn"])
    assert reasons(found, "glazed") == {
        "C0": ["belt glazed"],
        "C1": ["belt glazed; otherwise there"],
        "C2": ["belt glazed; otherwise there"],
    }


def test_two_values_asked_agree_with_both_and_conflict_with_neither():
    found = index(["glazed"], ["good"], ["torn"])
    rows = reasons(found, "glazed", "torn")
    assert rows["C0"] == ["belt glazed"]
    assert rows["C2"] == ["belt torn"]
    assert rows["C1"] == ["belt glazed; otherwise there"]


def test_what_a_field_gives_is_reckoned_once_until_the_weights_change():
    found = index(["glazed"], ["good"], ["torn"])
    asked = CaseFeatures(case="Q", tokens=(token("glazed"),))
    first = found.field_evidence(asked.tokens)
    before = found.scores(asked)
    assert found.field_evidence(asked.tokens) is first
    found.attach(Learned(spaces={}, parts={"found": 0.5}))
    assert np.array_equal(found.scores(asked), before / 2)
    assert before.any()


def test_what_is_as_long_as_a_list_is_not_held():
    found = index(["glazed", "torn"], ["good"], ["torn"])
    asked = (token("glazed"),)
    assert isinstance(found.field_evidence(asked)[-1], OfSome)
    assert found.field_evidence(asked) is not found.field_evidence(asked)


def test_no_more_fields_are_held_than_was_chosen(monkeypatch):
    monkeypatch.setattr(field_evidence, "_MOST_REMEMBERED", 3)
    found = index(["glazed"], ["good"], ["torn"])
    first = found.scores(CaseFeatures(case="Q", tokens=(token("glazed"),))).tolist()
    for number in range(9):
        assert found.field_evidence((token(f"worn {number}"),))
        assert len(found._given) <= 3
    assert found.scores(CaseFeatures(case="Q", tokens=(token("glazed"),))).tolist() == first
