"""Agreement and conflict of one field, where a case has one value of it, and where it has two."""

import pytest

from kb.retrieval import field_evidence
from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex


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
    found = index(["glazed"], ["good"], ["torn"], [])
    query = CaseFeatures(case="Q", tokens=(token("glazed"),))
    one = found.scores(query).tolist()
    monkeypatch.setattr(field_evidence, "FEW_VALUES", 0)
    assert found.scores(query).tolist() == one
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
