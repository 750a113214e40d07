import csv
import os
from pathlib import Path

import pytest

from kb.case.terms import load_vocabulary
from kb.errors import ImportTableError
from kb.workflow.exchange import ROLES, load_table, read_mapping, read_table, write_refused
from kb.workflow.jobs import draft_job

WORDS = load_vocabulary()
MAPPING = {"text": "Words", "date": "Day", "component": "Part", "failure": "Mode", "asset": "Unit"}
GOOD = (
    "Day,Words,Part,Mode,Unit\n2024-03-01,hose leaking,Hose,Leak,A\n2024-03-02,no start,NA,NA,B\n"
)


def read(text, mapping=None):
    return read_table(text.splitlines(keepends=True), mapping or MAPPING, words=WORDS)


def test_a_row_becomes_a_closed_job_with_its_fields():
    first, second = read(GOOD).jobs
    assert first.lines == ("hose leaking",)
    assert first.cause == "Hose: Leak"
    assert dict(first.fields) == {"component": "Hose", "failure": "Leak"}
    assert first.vehicle.model == "A"
    assert second.cause is None
    assert second.fields == ()


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ("someday,words,P,M,A", "date"),
        ("2024-03-01,,P,M,A", "words"),
        (",words,P,M,A", "date"),
        ("2024-03-01,words,P,M", "cells"),
        ("2024-03-01," + "x" * 20_001 + ",P,M,A", "20000"),
    ],
)
def test_a_bad_row_is_refused_with_line_and_reason_and_the_good_ones_load(row, reason):
    table = read(GOOD + row + "\n")
    assert len(table.jobs) == 2
    (refused,) = table.refused
    assert refused.line == 4
    assert reason in refused.reason


def test_refused_rows_are_written_as_they_were(tmp_path):
    table = read(GOOD + 'someday,"a, ""b""",P,M,A\n')
    path = tmp_path / "refused.csv"
    write_refused(table, path)
    head, row = list(csv.reader(path.read_text(encoding="utf-8").splitlines()))
    assert head[:2] == ["line", "reason"]
    assert row[2:] == ["someday", 'a, "b"', "P", "M", "A"]


def test_the_same_table_twice_adds_nothing(shop):
    table = read(GOOD + "2024-03-01,hose leaking,Hose,Leak,A\n")
    assert shop.write(load_table, table) == 3
    assert shop.write(load_table, read(GOOD)) == 0


def test_an_imported_job_is_found(shop):
    shop.write(load_table, read(GOOD))
    job = draft_job("leaky hose", words=WORDS, today=shop.today).job
    found = shop.memory().suggest(job)
    assert found.matches[0].cause == "Hose: Leak"


@pytest.mark.parametrize(
    ("pairs", "reason"),
    [
        (["text=Words"], "date"),
        (["text=Words", "date=Day", "colour=Unit"], "colour"),
        (["words"], "role=column"),
    ],
)
def test_a_mapping_that_cannot_work_says_why(pairs, reason):
    with pytest.raises(ImportTableError, match=reason):
        read_mapping(pairs)


def test_a_mapping_file_is_read_and_flags_win(tmp_path):
    path = tmp_path / "map.toml"
    path.write_text('text = "Words"\ndate = "Day"\n')
    assert read_mapping(["date=Closed"], path) == {"text": "Words", "date": "Closed"}


def test_a_column_that_is_not_there_is_named():
    with pytest.raises(ImportTableError, match="Wrods"):
        read(GOOD, {"text": "Wrods", "date": "Day"})


def test_an_empty_table_is_refused():
    with pytest.raises(ImportTableError, match="empty"):
        read("")


@pytest.mark.source("NIST, nist-nestor 0.4.4", "nestor/datasets/excavators-cleaned.csv, 5,485 rows")
def test_nists_excavator_work_orders_load_and_are_found(shop):
    path = os.environ.get("BAYBOOK_WORK_ORDERS")
    if not path:
        if os.environ.get("BAYBOOK_REQUIRE_SOURCES"):
            pytest.fail("expected BAYBOOK_WORK_ORDERS to name the table")
        pytest.skip("BAYBOOK_WORK_ORDERS does not name the table; .ci/run fetches it")
    mapping = read_mapping(
        [
            "text=OriginalShorttext",
            "date=BscStartDate",
            "asset=Asset",
            "component=MajorSystem",
            "failure=FM",
            "location=FuncLocation",
            "action=Action",
            "cost=Cost",
        ]
    )
    with Path(path).open(encoding="utf-8", newline="") as stream:
        table = read_table(stream, mapping, words=WORDS)
    assert len(table.jobs) + len(table.refused) == 5485
    assert shop.write(load_table, table) == len(table.jobs)
    job = draft_job("bucket tooth missing", words=WORDS, today=shop.today).job
    found = shop.memory().suggest(job, top=5).matches
    by_id = {row.id: row for row in table.jobs}
    assert all("tooth" in by_id[m.case].lines[0].lower() for m in found)


def test_every_role_can_be_mapped():
    assert read_mapping([f"{role}=C" for role in ROLES]) == dict.fromkeys(ROLES, "C")
