import gzip
import json

import pytest

from kb.errors import ImportTableError
from kb.workflow.records import (
    bare_words,
    read_open,
    read_questions,
    read_rounds,
    read_stored,
    record_features,
)

CODING = {
    "causes": ["belt", "pump"],
    "states": {"noise": ["yes", "no"], "heat": ["low", "normal", "high"]},
}
TABLE = "cause,observed,noise,heat\n1,10,1,2\n0,11,0,0\n"


def coded(folder, *, table=TABLE, coding=CODING):
    with gzip.open(folder / "stored_cases.csv.gz", "wt") as stream:
        stream.write(table)
    (folder / "coding.json").write_text(json.dumps(coding))
    return folder


def test_a_column_that_the_shop_did_not_write_down_is_missing(tmp_path):
    first, second = read_stored(coded(tmp_path))
    assert first.cause == "pump"
    assert [(t.what, t.part) for t in first.tokens] == [("noise: no", "observed")]
    assert {t.what for t in second.tokens} == {"noise: yes", "heat: low"}


def test_only_the_first_records_are_taken(tmp_path):
    assert len(read_stored(coded(tmp_path), stored=1)) == 1


def test_a_recorded_no_is_a_token_and_an_unrecorded_symptom_is_none():
    made = record_features({"id": 3, "symptoms": {"hums": True, "leaks": False, "smells": None}})
    assert [(t.field, t.value) for t in made.tokens] == [("hums|", "yes"), ("leaks|", "no")]


def test_readings_and_vehicle_group_are_read(tmp_path):
    row = {"id": "a", "cause": "c1", "group": "g1", "readings": {"r1": 2.5, "r2": None}}
    (tmp_path / "stored_cases.jsonl").write_text(json.dumps(row) + "\n")
    (made,) = read_stored(tmp_path)
    assert [(m.key, m.value) for m in made.measures] == [("r1", 2.5)]
    assert (made.group, made.cause) == ("g1", "c1")


def test_a_question_hides_its_cause(tmp_path):
    row = {"id": "q", "cause": "belt", "seen": {"noise": "no"}, "gain_bits": {"heat": 0.4}}
    (tmp_path / "queries.jsonl").write_text(json.dumps(row) + "\n")
    (made,) = read_questions(tmp_path)
    assert (made.cause, made.asked.cause, made.gains) == ("belt", None, {"heat": 0.4})


def test_the_trades_catalogue_has_no_say():
    assert not bare_words().causes


def test_a_folder_without_records_says_what_it_should_hold(tmp_path):
    with pytest.raises(ImportTableError, match=r"expected stored_cases\.jsonl, .* or cases\.jsonl"):
        read_stored(tmp_path)


@pytest.mark.parametrize(
    "table",
    ["cause,observed,noise\n7,1,0\n", "cause,observed,noise\n0,1,9\n", "cause,o,n\nx,1,0\n"],
)
def test_a_number_that_the_coding_does_not_know_is_refused(tmp_path, table):
    with pytest.raises(ImportTableError, match="as its coding says"):
        read_stored(coded(tmp_path, table=table))


def test_a_coded_table_wants_its_coding(tmp_path):
    coded(tmp_path)
    (tmp_path / "coding.json").unlink()
    with pytest.raises(ImportTableError, match=r"coding\.json"):
        read_stored(tmp_path)


def test_a_question_without_a_cause_names_its_line(tmp_path):
    (tmp_path / "queries.jsonl").write_text('{"id": "q"}\n')
    with pytest.raises(ImportTableError, match="line 1: expected id and cause"):
        read_questions(tmp_path)


def folded(folder, *, n=12, **more):
    rows = [
        {
            "id": f"r{i}",
            "cause": f"c{i % 2}",
            "fold": i % 3,
            "findings": {f"f{at}": "yes" for at in range(20)},
            "shown_as_query": ["f0", "f7"],
        }
        | more
        for i in range(n)
    ]
    (folder / "cases.jsonl").write_text("".join(json.dumps(row) + "\n" for row in rows))
    return folder


def test_each_fold_is_asked_of_all_the_others(tmp_path):
    rounds = read_rounds(folded(tmp_path))
    asked = [{row.asked.case.removeprefix("query ") for row in each.questions} for each in rounds]
    stored = [{row.case for row in each.stored} for each in rounds]
    every = {f"r{i}" for i in range(12)}
    assert [len(part) for part in asked] == [4, 4, 4]
    assert set.union(*asked) == every
    assert [part | rest for part, rest in zip(asked, stored, strict=True)] == [every] * 3
    assert [part & rest for part, rest in zip(asked, stored, strict=True)] == [set()] * 3


def test_a_question_shows_what_it_lists_and_a_stored_record_a_part_of_its_own(tmp_path):
    rounds = read_rounds(folded(tmp_path))
    for each in rounds:
        for question in each.questions:
            assert {token.what for token in question.asked.tokens} == {"f0: yes", "f7: yes"}
            assert question.asked.cause is None
        assert all(6 <= len(case.tokens) <= 12 for case in each.stored)
    shown = [{t.what for t in case.tokens} for case in rounds[0].stored]
    assert len({frozenset(row) for row in shown}) > 1


def test_a_stored_record_shows_the_same_findings_in_every_round(tmp_path):
    first, second, third = read_rounds(folded(tmp_path))
    again = {case.case: case for case in (*first.stored, *second.stored)}
    assert all(again[case.case] == case for case in third.stored)
    assert read_rounds(tmp_path)[2] == third


def test_a_question_that_lists_nothing_shows_all_its_findings(tmp_path):
    rows = [
        {"id": f"r{i}", "cause": "c", "fold": i, "findings": {"f1": "a", "f2": None, "f3": "b"}}
        for i in range(2)
    ]
    (tmp_path / "cases.jsonl").write_text("".join(json.dumps(row) + "\n" for row in rows))
    for each in read_rounds(tmp_path):
        (question,) = each.questions
        assert {t.what for t in question.asked.tokens} == {"f1: a", "f3: b"}


def test_fewer_records_are_stored_in_every_round(tmp_path):
    assert [len(each.stored) for each in read_rounds(folded(tmp_path), stored=5)] == [5, 5, 5]


def test_a_folder_without_folds_is_one_round(tmp_path):
    row = {"id": "q", "cause": "belt", "seen": {"noise": "no"}}
    (tmp_path / "queries.jsonl").write_text(json.dumps(row) + "\n")
    (only,) = read_rounds(coded(tmp_path))
    assert (only.stored, only.questions) == (read_stored(tmp_path), read_questions(tmp_path))


def test_a_record_without_a_fold_names_its_line(tmp_path):
    folded(tmp_path, n=2)
    with (tmp_path / "cases.jsonl").open("a") as stream:
        stream.write('{"id": "r9", "cause": "c1", "findings": {}}\n')
    with pytest.raises(ImportTableError, match="line 3: expected id, cause and fold"):
        read_rounds(tmp_path)


def test_open_records_keep_their_cause_and_what_was_not_looked_at(tmp_path):
    rows = [
        {"id": "a", "cause": "c1", "seen": {"f": "yes"}, "unseen_truth": {"g": 2}},
        {"id": "b", "cause": "c2"},
    ]
    (tmp_path / "queries.jsonl").write_text("\n".join(map(json.dumps, rows)))
    (first, unseen), (second, none) = read_open(tmp_path)
    assert (first.cause, [token.value for token in first.tokens]) == ("c1", ["yes"])
    assert (unseen, second.cause, none) == ({"g": "2"}, "c2", {})
