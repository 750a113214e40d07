import csv
import io
import json

import pytest

from kb.errors import ExchangeError
from kb.store.exported import EXPORTED
from kb.workflow.exchange.csv_tables import read_tables
from kb.workflow.exchange.records import JobRecord, Refused
from tests.whole_shop import held


def rows_of(out, table):
    text = (out / "tables" / f"{table}.csv").read_text("utf-8")
    return list(csv.reader(io.StringIO(text, newline="")))


def write(out, table, rows):
    with (out / "tables" / f"{table}.csv").open("w", encoding="utf-8", newline="") as stream:
        csv.writer(stream).writerows(rows)


def refused(out):
    return [row for row in read_tables(out / "tables") if isinstance(row, Refused)]


def jobs(out):
    return [row.kept.job.id for row in read_tables(out / "tables") if isinstance(row, JobRecord)]


def change(out, table, at, *, column, cell):
    rows = rows_of(out, table)
    rows[at][rows[0].index(column)] = cell
    write(out, table, rows)


@pytest.mark.source("RFC 4180", "section 2: CRLF between records, a header, quotes doubled")
def test_a_table_is_csv_as_the_standard_has_it(out):
    raw = (out / "tables" / "job_photos.csv").read_bytes()
    assert raw == (
        b'"job_id","ordinal","content_hash","caption"\r\n'
        b'"J900003",0,"'
        + rows_of(out, "job_photos")[1][2].encode()
        + b'","the =plug, ""left"""\r\n'
    )


def test_there_is_a_table_of_each_kind_and_a_file_that_says_how_long_they_are(out):
    about = json.loads((out / "tables" / "export.json").read_text("utf-8"))
    for table in EXPORTED:
        assert len(rows_of(out, table.name)) - 1 == about["counts"].get(table.name, 0) > 0


def test_formulas_are_text_in_the_table(out):
    assert "'=fan" in [row[-1] for row in rows_of(out, "history")]
    assert "'@nothing like it" in rows_of(out, "lost_searches")[1]


def test_tables_saved_by_a_spreadsheet_read_the_same(filled, empty, out):
    for table in EXPORTED:
        header, *rows = rows_of(out, table.name)
        path = out / "tables" / f"{table.name}.csv"
        with path.open("w", encoding="utf-8-sig", newline="") as stream:
            csv.writer(stream, lineterminator="\n").writerows(
                [row[::-1] for row in [header, *rows]] + [[]]
            )
    assert empty.take(out, "csv").refused == []
    assert held(empty.store) == held(filled.store)


def test_a_wrong_cell_refuses_the_whole_job_and_no_other(out):
    change(out, "readings", 1, column="canonical", cell="warm")
    (row,) = refused(out)
    assert (row.place.file, row.place.line) == ("readings.csv", 2)
    assert row.reason == "job J900003: expected canonical as number, got warm"
    assert jobs(out) == ["J000001", "J900004", "J900007"]


def test_rows_of_no_job_are_refused_and_no_other(out):
    change(out, "job_photos", 1, column="job_id", cell="J900000")
    (row,) = refused(out)
    assert "expected a job of jobs.csv, got 'J900000'" in row.reason
    assert len(jobs(out)) == 4


def test_a_row_that_was_taken_out_of_jobs_strands_its_children_alone(out):
    write(out, "jobs", [row for row in rows_of(out, "jobs") if row[0] != "J900003"])
    assert jobs(out) == ["J000001", "J900004", "J900007"]
    assert all("got 'J900003'" in row.reason for row in refused(out))


def test_a_gap_in_the_numbers_of_rows_is_no_job(out):
    change(out, "findings", 1, column="ordinal", cell="3")
    assert [row.reason[:11] for row in refused(out)] == ["job J900003"]


@pytest.mark.parametrize("table", ["jobs", "symptoms"])
def test_tables_in_another_order_are_refused_whole(empty, out, table):
    header, *rows = rows_of(out, table)
    write(out, table, [header, *rows[::-1]])
    with pytest.raises(ExchangeError, match="in the order of"):
        empty.take(out, "csv")
    assert held(empty.store)[1] == ()


def test_a_row_that_is_missing_is_missed(empty, out):
    write(out, "readings", rows_of(out, "readings")[:-1])
    with pytest.raises(ExchangeError, match="expected 3 records of readings"):
        empty.take(out, "csv")
    assert held(empty.store)[1] == ()


@pytest.mark.parametrize(
    ("change_file", "said"),
    [
        (lambda path: path.unlink(), "no such file"),
        (lambda path: path.write_text(""), "expected the columns"),
        (lambda path: path.write_text("job_id,ordinal,words\r\n"), "expected the columns"),
        (
            lambda path: path.write_text('job_id,ordinal,text\r\n"a"b,0,c\r\n'),
            "line 2: expected CSV",
        ),
        (lambda path: path.write_text("job_id,ordinal,text\r\nJ1,0\r\n"), "expected 3 cells"),
        (lambda path: path.write_bytes(b"job_id,ordinal,text\r\n\xff,0,a\r\n"), "expected CSV"),
        (lambda path: path.write_text("job_id,ordinal,text\r\n,0,a\r\n"), "expected a job"),
    ],
)
def test_what_is_no_such_table_is_told(out, change_file, said):
    change_file(out / "tables" / "lines.csv")
    try:
        told = [row.reason for row in refused(out)]
    except ExchangeError as error:
        told = [str(error)]
    assert any(said in text for text in told)


@pytest.mark.parametrize("text", ["", "[]", '{"record": "x"}', '{"record": "export", "format": 9}'])
def test_a_folder_that_says_something_else_is_no_export(out, text):
    (out / "tables" / "export.json").write_text(text)
    with pytest.raises(ExchangeError):
        refused(out)
