import json

import pytest

from kb.errors import ExchangeError
from kb.store.exported import SETTINGS
from kb.store.whole_shop import KeptJob
from kb.workflow.exchange import lines
from kb.workflow.exchange.lines import LinesSink, read_lines
from kb.workflow.exchange.records import End, JobRecord, Refused, Start
from tests.factories import a_full_case
from tests.whole_shop import NOW

START = {"record": "export", "format": 1, "jobs": 0, "last_job": 0}


def read(tmp_path, *rows):
    path = tmp_path / "shop.jsonl"
    text = "".join(row if isinstance(row, str) else json.dumps(row) + "\n" for row in rows)
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    return list(read_lines(path))


def reason(tmp_path, *rows):
    _, refused, *_ = read(tmp_path, START, *rows)
    assert isinstance(refused, Refused)
    return refused


def a_line(**changes):
    job = {"id": "J1", "opened": "2026-05-14"}
    return {"record": "jobs", "job": job, "revision": 1, **changes}


def test_what_lacks_is_left_out_and_a_line_holds_one_record(tmp_path):
    sink = LinesSink(tmp_path)
    sink.start(Start(jobs=1, made_at=NOW))
    sink.row(SETTINGS, {"key": "a", "value": "line\u2028sep"})
    sink.job(KeptJob(job=a_full_case(system=None), revision=2))
    sink.end()
    text = (tmp_path / "shop.jsonl").read_text("utf-8")
    start, row, job, end = [json.loads(line) for line in text.split("\n")[:-1]]
    assert start["made_at"] == "2026-05-14T09:30:15.123456+00:00"
    assert row == {"record": "settings", "key": "a", "value": "line\u2028sep"}
    assert "system" not in job["job"]
    assert end["counts"] == {"export": 1, "settings": 1, "jobs": 1}


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("{\n", "one JSON object"),
        ("[1]\n", "got list"),
        ('{"record": "settings", "key": "a", "value": NaN}\n', "NaN"),
        ("[" * 100_000 + "\n", "one JSON object"),
        ("\udcff\n", "one JSON object"),
        ('{"record": ' + "9" * 5000 + "}\n", "one JSON object"),
        ({"record": "colours"}, "got 'colours'"),
        ({"record": "case_file", "file": "J1.md"}, "got 'case_file'"),
        ({"record": "settings", "key": "a"}, "expected value as text, got nothing"),
        ({"record": "settings", "key": "a", "value": "b", "c": 1}, "got c"),
        (a_line(revision=0), "revision"),
        (a_line(revision=True), "revision"),
        (a_line(unread_words=[1]), "unread_words"),
        (a_line(colour=1), "colour"),
        (a_line(job=None), "job"),
        (a_line(job={"id": "J1", "opened": "2026-05-14", "colour": 1}), "job.colour"),
        (a_line(job={"id": "J1", "opened": 20260514}), "job.opened"),
        (a_line(job={"id": "J1", "opened": "2026-05-14", "vehicle": {"year": "1"}}), "year"),
        (a_line(job={"id": "\ud800", "opened": "2026-05-14"}), "job"),
        ({"record": "end", "counts": {"jobs": -1}}, "counts"),
    ],
)
def test_a_line_that_cannot_be_read_is_refused_with_its_number_and_the_next_is_read(
    tmp_path, line, said
):
    rows = read(tmp_path, START, line, a_line())
    assert isinstance(rows[1], Refused)
    assert rows[1].place.line == 2
    assert said in rows[1].reason
    assert len(rows[1].reason) < 400
    assert isinstance(rows[2], JobRecord)


@pytest.mark.parametrize(
    "first",
    [a_line(), {**START, "format": 2}, {**START, "jobs": -1}, {**START, "last_job": "1"}, "{\n"],
)
def test_another_file_is_no_export(tmp_path, first):
    with pytest.raises(ExchangeError, match="expected"):
        read(tmp_path, first)


def test_the_end_says_how_many_there_should_be(tmp_path):
    assert read(tmp_path, START)[-1] == End(expected=None, got={"export": 1})
    end = {"record": "end", "counts": {"export": 1, "jobs": 2}}
    last = read(tmp_path, START, a_line(), end)[-1]
    assert last == End(expected={"export": 1, "jobs": 2}, got={"export": 1, "jobs": 1})


def test_empty_lines_and_a_mark_at_the_beginning_do_no_harm(tmp_path):
    assert len(read(tmp_path, "\ufeff" + json.dumps(START) + "\n", "\n", a_line())) == 3


def test_a_line_without_end_is_never_held_whole(tmp_path, monkeypatch):
    monkeypatch.setattr(lines, "MAX_LINE", 1000)
    with pytest.raises(ExchangeError, match="less than 1000 bytes"):
        read(tmp_path, START, "x" * 2000)
