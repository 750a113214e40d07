import json

import pytest

from kb.retrieval.features import CaseFeatures, Token, observed_token
from kb.retrieval.index import CaseIndex
from kb.retrieval.measures import Measure
from kb.workflow.open_records import KNOWN, as_findings, filled, read_starts, start_of

SEEN = {f"f{number}": f"v{number}" for number in range(9)}


def record(name="q1", **seen):
    tokens = tuple(observed_token(key, value) for key, value in seen.items())
    return CaseFeatures(case=name, tokens=tokens, cause="c1")


def test_a_job_comes_in_with_two_to_four_entries_and_the_rest_are_checks():
    for name in ("q1", "q2", "q3", "q4", "q5"):
        start = start_of(record(name, **SEEN), {"unseen": "x"})
        known = {token.field.removeprefix("observed|"): token.value for token in start.asked.tokens}
        assert KNOWN[0] <= len(known) <= KNOWN[1]
        assert {**known, **start.truth} == {**SEEN, "unseen": "x"}
        assert not set(known) & set(start.truth)
        assert (start.cause, start.asked.cause) == ("c1", None)


def test_the_same_record_comes_in_with_the_same_entries():
    assert start_of(record(**SEEN), {}) == start_of(record(**SEEN), {})
    known = {start_of(record(f"q{at}", **SEEN), {}).asked.tokens for at in range(9)}
    assert len(known) > 1


def test_readings_become_low_usual_or_high_by_their_normal_score():
    values = [Measure(key="r", value=float(value), what="r") for value in range(101)]
    index = CaseIndex().fit(
        [CaseFeatures(case=f"s{at}", measures=(row,)) for at, row in enumerate(values)]
    )
    symptom = Token(part="symptom", field="noise|", value="no", what="noise")

    def found(value):
        row = CaseFeatures(
            case="q",
            tokens=(symptom,),
            measures=(
                Measure(key="r", value=value, what="r"),
                Measure(key="rare", value=1.0, what="rare"),
            ),
        )
        return {token.field: token.value for token in as_findings(row, index).tokens}

    # One standard deviation of a normal score cuts off 16 of 100 on either side.
    for value, band in ((5, "low"), (14, "low"), (18, "usual"), (82, "usual"), (86, "high")):
        assert found(value) == {"observed|noise": "no", "observed|r": band}


def test_what_is_filled_in_is_neither_recorded_nor_told_before():
    others = [record("o1", f0="other", g="first"), record("o2", g="second", h="third", u="no")]
    assert filled(record(f0="own"), {"u": "yes"}, others) == {
        "g": "first",
        "h": "third",
        "u": "yes",
    }


@pytest.fixture
def folder(tmp_path):
    rows = [
        {"id": "a", "cause": "c1", "seen": SEEN, "unseen_truth": {"g": "yes"}},
        {"id": "b", "cause": "c1", "findings": {"h": "no"}},
        {"id": "d", "cause": "c2", "findings": {"k": "no"}},
    ]
    (tmp_path / "queries.jsonl").write_text("\n".join(map(json.dumps, rows)))
    return tmp_path


def test_queries_come_in_with_what_they_say_was_not_looked_at(folder):
    first, second, third = read_starts(folder, CaseIndex().fit([]))
    assert first.truth["g"] == "yes"
    assert (second.truth, third.truth) == ({}, {})


def test_gaps_are_filled_from_the_other_queries_with_the_cause(folder):
    first, second, third = read_starts(folder, CaseIndex().fit([]), fill=True)
    assert first.truth["h"] == "no"
    assert second.truth == SEEN
    assert third.truth == {}
