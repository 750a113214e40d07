import json
from typing import Any

import pytest

from kb.workflow.structured import measure_diagnosis


def folder_of(folder, stored, queries):
    for name, rows in (("stored_cases", stored), ("queries", queries)):
        text = "".join(json.dumps(row) + "\n" for row in rows)
        (folder / f"{name}.jsonl").write_text(text)
    return folder


def telling(number):
    return {"f": f"v{number}", "h": f"w{number}", "k": f"x{number}"}


STORED = [
    {"id": f"s{i:02}", "cause": f"c{i % 8}", "findings": {**telling(i % 8), "g": "no"}}
    for i in range(64)
]
QUERIES = [{"id": f"q{i}", "cause": f"c{i}", "findings": telling(i)} for i in range(8)]


@pytest.fixture(scope="module")
def scores(tmp_path_factory) -> dict[str, Any]:
    return measure_diagnosis(folder_of(tmp_path_factory.mktemp("set"), STORED, QUERIES))


def test_causes_that_one_finding_tells_apart_are_found(scores):
    assert (scores["hit@1"], scores["queries"], scores["stored"]) == (1.0, 8, 64)
    assert 0 < scores["nll"] < 1
    assert 0 <= scores["sure_share"] <= 1


def test_causes_taken_out_of_the_store_are_told_from_the_others(scores):
    never = scores["never_stored"]
    assert (never["queries"], never["new"]) == (8, 1)
    assert never["auc"] == 1.0


def test_without_exact_gains_none_are_compared(scores):
    assert "gain_share" not in scores


def test_the_suggested_finding_is_held_against_the_best_exact_gain(tmp_path):
    queries = [
        {"id": "q0", "cause": "c0", "findings": {}, "gain_bits": {"f": 3.0, "g": 0.0}},
        {"id": "q1", "cause": "c1", "findings": {}, "gain_bits": {"f": 1.0, "g": 2.0}},
        {"id": "q2", "cause": "c1", "findings": {}, "gain_bits": {"f": 0.0}},
    ]
    got = measure_diagnosis(folder_of(tmp_path, STORED, queries))
    assert got["gain_share"] == pytest.approx((3.0 + 1.0) / (3.0 + 2.0))


def test_fewer_stored_records_are_asked_for_by_number(tmp_path):
    got = measure_diagnosis(folder_of(tmp_path, STORED, QUERIES), stored=16)
    assert got["stored"] == 16


def test_the_answers_of_all_folds_are_measured_together(tmp_path):
    rows = [
        {
            "id": f"r{i:02}",
            "cause": f"c{i % 8}",
            "fold": i // 8 % 4,
            "findings": {
                f"{name}{at}": value for name, value in telling(i % 8).items() for at in "abcd"
            },
        }
        for i in range(64)
    ]
    (tmp_path / "cases.jsonl").write_text("".join(json.dumps(row) + "\n" for row in rows))
    got = measure_diagnosis(tmp_path)
    never = got["never_stored"]
    assert (got["queries"], got["stored"], got["hit@1"]) == (64, 48, 1.0)
    assert isinstance(never, dict)
    assert (never["queries"], never["new"]) == (64, 8)
    assert "gain_share" not in got
