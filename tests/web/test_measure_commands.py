import json

import pytest

from kb.workflow.technician import OURS, POLICIES
from tests.web.test_cli import empty, terminal

__all__ = ["empty", "terminal"]


@pytest.fixture
def records(tmp_path):
    folder = tmp_path / "records"
    folder.mkdir()
    seen = [{f"f{k}": f"v{(i >> k) & 1}" for k in range(5)} for i in range(8)]
    stored = [{"id": f"s{i}", "cause": f"c{i % 8}", "findings": seen[i % 8]} for i in range(32)]
    asked = [
        {"id": f"q{i}", "cause": f"c{i}", "findings": seen[i], "unseen_truth": {"g": "no"}}
        for i in range(8)
    ]
    for name, rows in (("stored_cases", stored), ("queries", asked)):
        (folder / f"{name}.jsonl").write_text("\n".join(map(json.dumps, rows)))
    return folder


def test_minutes_to_a_proven_cause_are_measured(empty, records):
    command = ["measure", "--diagnosis", str(records), "--minutes", "--jobs", "3"]
    told = empty.told(*command, "--stored", "24", "--json")
    assert set(told) == {"stored", "jobs", "checks_a_job", "minutes", "ours_against"}
    assert (told["stored"], told["jobs"]) == (24, 3)
    assert set(told["minutes"]) == set(POLICIES)
    assert set(told["minutes"][OURS]) == {"mean", "error", "median", "wrong_looks"}
    text = empty.said(*command)
    assert "jobs: 3\n" in text
    assert "ours against:\n  random:\n    ratio: " in text


def test_gaps_are_filled_where_asked_for(empty, records):
    rows = [json.loads(line) for line in (records / "queries.jsonl").read_text().splitlines()]
    more = [
        {"id": f"more {row['id']}", "cause": row["cause"], "findings": {"h": "x"}} for row in rows
    ]
    (records / "queries.jsonl").write_text("\n".join(map(json.dumps, [*rows, *more])))
    command = ["measure", "--diagnosis", str(records), "--minutes", "--jobs", "8", "--json"]
    plain, filled = empty.told(*command), empty.told(*command, "--fill")
    assert filled["checks_a_job"] == plain["checks_a_job"] + 1


@pytest.mark.parametrize(
    ("options", "needed"),
    [
        (["--minutes"], "--diagnosis FOLDER with --minutes"),
        (["--jobs", "3"], "--minutes with --jobs"),
        (["--fill"], "--minutes with --fill"),
    ],
)
def test_an_option_without_the_one_it_goes_with_is_refused(empty, options, needed):
    assert f"expected {needed}, got none" in empty.said("measure", *options, code=2)


def test_phrases_with_a_class_are_measured(empty, tmp_path):
    file = tmp_path / "phrases.jsonl"
    rows = [{"text": f"leak {i}", "label": "Leaking", "part": "train"} for i in range(4)]
    rows += [{"text": f"noisy {i}", "label": "Noise", "part": "train"} for i in range(4)]
    rows += [{"text": "noisy again", "label": "Noise", "part": "dev"}]
    file.write_text("\n".join(map(json.dumps, rows)))
    told = empty.told("measure", "--phrases", str(file), "--json")
    assert {"hit@1", "hit@1_interval", "hit@3", "hit@3_interval"} <= set(told)
    assert (told["stored"], told["queries"], told["hit@1"]) == (8, 1, 1.0)
    text = empty.said("measure", "--phrases", str(file), "--folds", "3")
    assert "stored: 6\nqueries: 9\n" in text
    assert "hit@3 interval: " in text


def test_folds_without_phrases_are_refused(empty):
    assert "expected --phrases FILE" in empty.said("measure", "--folds", "3", code=2)
