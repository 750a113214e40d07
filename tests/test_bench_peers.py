"""The peers and their table, on tiny invented collections."""

import json
import sys
from typing import Any

import numpy as np
import pytest
from sklearn.naive_bayes import CategoricalNB

from kb.workflow.records import record_features
from tests.benchmarks import bench_peers
from tests.benchmarks.bench_peers import phrase_row, record_row, text_rankings, top_shares
from tests.benchmarks.peers import PHRASE_PEERS, RECORD_PEERS, TEXT_PEERS, naive_bayes

TEXTS = {
    "d1": "water pump weeps at the shaft",
    "d2": "alternator whine above idle",
    "d3": "pump for washer dead, fuse blown",
    "d4": "shaft seal of gearbox weeps oil",
}
QUERIES: dict[str, dict[str, Any]] = {
    "q1": {"text": "alternator whine above idle"},
    "q2": {"text": 'water "pump" weeps AND at the shaft'},
    "q3": {"text": TEXTS["d1"], "skip": ["d1"]},
    "q4": {"text": "?!"},
}
GRADES = [("q1", "d2"), ("q2", "d1"), ("q3", "d4"), ("q4", "d1")]


def lines(path, rows):
    path.write_text("".join(json.dumps(row) + "\n" for row in rows))


def collection(folder):
    folder.mkdir(parents=True)
    lines(folder / "corpus.jsonl", [{"id": k, "text": t, "part": k} for k, t in TEXTS.items()])
    lines(folder / "queries.jsonl", [{"id": key, **row} for key, row in QUERIES.items()])
    (folder / "qrels.tsv").write_text("".join(f"{q}\t{d}\t1\n" for q, d in GRADES))
    return folder


@pytest.mark.parametrize("name", TEXT_PEERS)
def test_every_text_peer_finds_the_same_text_first(tmp_path, name):
    ranked = text_rankings(collection(tmp_path / "set"), TEXT_PEERS[name])
    assert (ranked["q1"][0], ranked["q2"][0]) == ("d2", "d1")


@pytest.mark.parametrize("name", TEXT_PEERS)
def test_a_document_that_a_query_must_not_find_is_left_out(tmp_path, name):
    ranked = text_rankings(collection(tmp_path / "set"), TEXT_PEERS[name])
    assert sorted(ranked["q3"]) == ["d2", "d3", "d4"]
    assert ranked["q3"][0] == "d4"


@pytest.mark.parametrize("name", TEXT_PEERS)
def test_a_query_without_a_known_word_scores_nothing(name):
    (scores,) = TEXT_PEERS[name](list(TEXTS.values()), ["?!"])
    assert scores.tolist() == [0, 0, 0, 0]


def case(name, cause, **more):
    return record_features({"id": name, "cause": cause, **more})


WHOLE = [
    case(f"s{i}", cause, findings=dict(zip("abc", values, strict=True)))
    for i, (cause, values) in enumerate(
        [("belt", "xyx"), ("belt", "xxx"), ("pump", "yyz"), ("pump", "yxz"), ("fuse", "zyx")]
    )
]


@pytest.mark.parametrize("name", RECORD_PEERS)
def test_every_record_peer_names_the_cause_of_the_same_record(name):
    ranked = RECORD_PEERS[name](WHOLE, WHOLE)
    assert [row[0] for row in ranked] == [record.cause for record in WHOLE]


def test_naive_bayes_equals_scikit_learns_on_whole_records():
    codes = {value: number for number, value in enumerate("xyz")}
    rng = np.random.default_rng(5)
    table = np.vstack([np.tile(np.arange(3), (4, 1)).T, rng.integers(0, 3, (60, 4))])
    causes = rng.choice(["belt", "fuse", "hose", "pump"], len(table))
    names = list(codes)
    records = [
        case(str(i), cause, findings={f"f{at}": names[code] for at, code in enumerate(row)})
        for i, (row, cause) in enumerate(zip(table, causes, strict=True))
    ]
    peer = CategoricalNB(alpha=1.0).fit(table, causes)
    order = np.argsort(-peer.predict_log_proba(table), axis=1, kind="stable")
    assert naive_bayes(records, records) == [[peer.classes_[at] for at in row] for row in order]


def test_what_a_record_leaves_out_has_no_say_in_naive_bayes():
    stored = [
        case("s1", "belt", findings={"a": "x"}),
        case("s2", "belt", findings={"b": "x"}),
        case("s3", "pump", findings={"a": "y", "b": "y"}),
        case("s4", "pump", findings={"a": "y"}),
        case("s5", "pump", findings={"b": "y"}),
    ]
    asked = [case("q1", None, findings={"c": "new"}), case("q2", None, findings={"a": "x"})]
    # Two of five against three of five; then 2/3 against 1/4 of those that recorded "a".
    assert naive_bayes(stored, asked) == [["pump", "belt"], ["belt", "pump"]]


@pytest.mark.parametrize("name", RECORD_PEERS)
def test_readings_count_by_the_part_of_the_range_they_lie_in(name):
    stored = [
        case(f"s{i}", cause, readings={"r": base + i, "t": 1.5 * i})
        for i in range(10)
        for cause, base in (("low", 0.0), ("high", 100.0))
    ]
    asked = [case("q", None, readings={"r": value, "t": 1.0}) for value in (-5.0, 2.5, 106.0)]
    assert [row[0] for row in RECORD_PEERS[name](stored, asked)] == ["low", "low", "high"]


@pytest.mark.parametrize("name", PHRASE_PEERS)
def test_every_phrase_peer_knows_a_stored_phrase(name):
    texts = ["leaking oil", "oil leak at seal", "wont start", "no start", "very noisy"]
    labels = ["leak", "leak", "start", "start", "noise"]
    asked = ["oil leak", "will not start", "noisy"]
    assert [row[0] for row in PHRASE_PEERS[name](texts, labels, asked)] == [
        "leak",
        "start",
        "noise",
    ]


def test_top_shares_count_the_first_and_the_first_three():
    ranked = [["a", "b", "c", "d"]] * 4
    assert top_shares(ranked, ["a", "c", "d", "b"]) == [0.25, 0.75]


def test_only_dev_phrases_are_asked(tmp_path):
    rows = [("train", "leak", "leaking oil"), ("train", "noise", "noisy"), ("dev", "leak", "leaks")]
    lines(
        tmp_path / "records.jsonl",
        [{"part": part, "label": label, "text": text} for part, label, text in rows],
    )
    assert phrase_row(tmp_path) == [1, *[1.0] * 8]


def folded(folder):
    folder.mkdir(parents=True)
    rows = [
        {"id": f"r{i}", "cause": f"c{i % 4}", "fold": i // 4 % 3}
        | {"findings": {f"f{at}": f"v{i % 4}" for at in range(10)}}
        for i in range(24)
    ]
    lines(folder / "cases.jsonl", rows)
    return folder


def test_all_folds_are_asked_of_ours_and_of_the_peers(tmp_path):
    assert record_row(folded(tmp_path / "set"), None) == [24, *[1.0] * 6]


def test_the_table_holds_a_row_for_each_set_asked_for(tmp_path, monkeypatch, capsys):
    collection(tmp_path / "maintie")
    folded(tmp_path / "soybean")
    monkeypatch.setattr(sys, "argv", ["bench_peers", "--only", "maintie", "soybean"])
    monkeypatch.setenv("BAYBOOK_DATA", str(tmp_path))
    bench_peers.main()
    rows = [line.split() for line in capsys.readouterr().out.splitlines() if line]
    assert [row[0] for row in rows] == ["texts,", "maintie", "records,", "soybean", "phrases,"]
    assert rows[1][1] == "4"
    assert rows[3][1:] == ["24", *["1.0000"] * 6]


def test_without_a_folder_the_table_says_what_to_give(monkeypatch, capsys):
    monkeypatch.setattr(sys, "argv", ["bench_peers"])
    monkeypatch.delenv("BAYBOOK_DATA", raising=False)
    with pytest.raises(SystemExit):
        bench_peers.main()
    assert "expected DATA_FOLDER or BAYBOOK_DATA" in capsys.readouterr().err
