import gzip
import json

import pytest

from kb.errors import ImportTableError
from kb.workflow.records import bare_words, read_questions, read_stored, record_features

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
    with pytest.raises(ImportTableError, match=r"expected stored_cases\.jsonl or"):
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
