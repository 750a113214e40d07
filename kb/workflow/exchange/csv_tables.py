"""A whole shop as CSV tables (RFC 4180), one a table of the store, and back.

Rows below a job stand in the order of ``jobs.csv``, so that any number of jobs is read with the
memory of one.
"""

import csv
import json
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final, TextIO

from kb.errors import ExchangeError, KBError, ParseError
from kb.store.exported import (
    BEFORE_JOBS,
    BESIDE,
    EXPORTED,
    HISTORY,
    JOB_TABLES,
    JOBS,
    ExportedTable,
)
from kb.store.job_tables import job_from_tables, job_tables
from kb.store.whole_shop import KeptJob
from kb.workflow.exchange.lines import counts_of, start_line, start_of
from kb.workflow.exchange.records import (
    End,
    JobRecord,
    Place,
    Record,
    Refused,
    RowRecord,
    Start,
)
from kb.workflow.exchange.values import LONGEST, as_cell, from_cell

FOLDER: Final = "tables"
# Says what the tables are, as the first and the last line of the JSON Lines do.
ABOUT: Final = "export.json"
_CHILDREN: Final = (*JOB_TABLES[1:], *BESIDE)


# --- writing -------------------------------------------------------------------------------------


class TablesSink:
    """A folder with one CSV file a table."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder / FOLDER
        self._folder.mkdir()
        self._start: dict[str, Any] = {}
        self._counts: Counter[str] = Counter()
        self._files: list[TextIO] = []
        self._writers = {table.name: self._writer(table) for table in EXPORTED}

    def _writer(self, table: ExportedTable) -> Any:
        path = self._folder / f"{table.name}.csv"
        stream = path.open("x", encoding="utf-8", newline="")
        self._files.append(stream)
        # Quoted text is one cell to a spreadsheet that splits at semicolons, too.
        writer = csv.writer(stream, quoting=csv.QUOTE_NONNUMERIC, lineterminator="\r\n")
        writer.writerow([column.name for column in table.columns])
        return writer

    def start(self, start: Start) -> None:
        """Keep what the first line says."""
        self._start = start_line(start)

    def row(self, table: ExportedTable, row: Mapping[str, Any]) -> None:
        """Write a row."""
        cells = [as_cell(column, row[column.name]) for column in table.columns]
        self._writers[table.name].writerow(cells)
        self._counts[table.name] += 1

    def job(self, kept: KeptJob) -> None:
        """Write a job's rows into all tables."""
        made = job_tables(kept.job, kept.revision)
        for table in JOB_TABLES:
            for row in made[table.name]:
                self.row(table, row)
        for table in BESIDE:
            for beside in kept.beside.get(table.name, ()):
                self.row(table, {"job_id": kept.job.id, **beside})

    def end(self) -> None:
        """Close the tables and write what they are."""
        for stream in self._files:
            stream.close()
        about = {**self._start, "counts": dict(self._counts)}
        text = json.dumps(about, ensure_ascii=False, indent=1)
        (self._folder / ABOUT).write_text(text + "\n", encoding="utf-8")


# --- reading -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class _Read:
    """A row as it was read: its values, or why they cannot be."""

    place: Place
    values: Mapping[str, Any]
    reason: str | None = None


def read_tables(folder: Path) -> Iterator[Record]:
    """Yield the records of a folder of CSV tables.

    Raises
    ------
    ExchangeError
        If a table is missing, has other columns, is no CSV, or is in another order.
    """
    csv.field_size_limit(LONGEST + 2)
    about = _about(folder)
    counts: Counter[str] = Counter()
    yield start_of(about.pop("record", ""), about)
    with ExitStack() as stack:

        def rows(table: ExportedTable) -> Iterator[_Read]:
            for row in _rows(stack, folder / f"{table.name}.csv", table):
                counts[table.name] += 1
                yield row

        for table in BEFORE_JOBS:
            yield from (_row_record(table, row) for row in rows(table))
        children = {table.name: _Below(table, rows(table)) for table in _CHILDREN}
        yield from _jobs(rows(JOBS), children)
        yield from (_row_record(HISTORY, row) for row in rows(HISTORY))
    try:
        expected = counts_of(about)
    except ParseError:
        expected = None
    yield End(expected=expected, got=+counts)


def _about(folder: Path) -> dict[str, Any]:
    try:
        about = json.loads((folder / ABOUT).read_text("utf-8-sig"))
    except (OSError, ValueError, RecursionError) as error:
        raise ExchangeError(f"{ABOUT}: expected what the tables are, got: {error}") from error
    if not isinstance(about, dict):
        raise ExchangeError(f"{ABOUT}: expected a JSON object, got {type(about).__name__}")
    return about


def _rows(stack: ExitStack, path: Path, table: ExportedTable) -> Iterator[_Read]:
    if not path.is_file():
        raise ExchangeError(f"expected the table {path.name}, got no such file; export it again")
    stream = stack.enter_context(path.open(encoding="utf-8-sig", newline="", errors="strict"))
    reader = csv.reader(stream, strict=True)
    line = 1
    try:
        columns = _columns(table, next(reader, []), path.name)
        line = reader.line_num + 1
        for cells in reader:
            if cells:
                yield _read(Place(file=path.name, line=line), columns, cells)
            line = reader.line_num + 1
    except (csv.Error, UnicodeDecodeError) as error:
        raise ExchangeError(
            f"{path.name}, line {line}: expected CSV in UTF-8, got: {error}"
        ) from error


def _columns(table: ExportedTable, header: Sequence[str], name: str) -> list[Any]:
    known = {column.name: column for column in table.columns}
    if sorted(header) != sorted(known):
        raise ExchangeError(
            f"{name}, line 1: expected the columns {', '.join(known)}, got "
            f"{', '.join(header)[:200] or 'none'}"
        )
    return [known[column] for column in header]


def _read(place: Place, columns: Sequence[Any], cells: Sequence[str]) -> _Read:
    if len(cells) != len(columns):
        raise ExchangeError(
            f"{place.file}, line {place.line}: expected {len(columns)} cells, got {len(cells)}"
        )
    values: dict[str, Any] = {}
    reason = None
    for column, cell in zip(columns, cells, strict=True):
        try:
            values[column.name] = from_cell(column, cell)
        except ParseError as error:
            reason = reason or str(error)
    return _Read(place=place, values=values, reason=reason)


def _row_record(table: ExportedTable, row: _Read) -> Record:
    if row.reason is not None:
        return Refused(place=row.place, reason=row.reason)
    return RowRecord(place=row.place, table=table, values=row.values)


class _Below:
    """The rows of a table below the jobs, taken job by job."""

    def __init__(self, table: ExportedTable, rows: Iterator[_Read]) -> None:
        self.table = table
        self._rows = rows
        self._next = next(rows, None)

    def take(self, job_id: str | None) -> Iterator[_Read]:
        """Yield the rows up to those of a job, with None all that are left."""
        while self._next is not None:
            row = self._next
            if job_id is not None and self._id(row) > job_id:
                return
            self._next = next(self._rows, None)
            if self._next is not None and self._id(self._next) < self._id(row):
                raise _disorder(self._next.place)
            yield row

    def _id(self, row: _Read) -> str:
        if "job_id" not in row.values:
            raise ExchangeError(f"{row.place.file}, line {row.place.line}: {row.reason}")
        return str(row.values["job_id"])


def _disorder(place: Place) -> ExchangeError:
    return ExchangeError(
        f"{place.file}, line {place.line}: expected rows in the order of jobs.csv, and that in the "
        "order of its ids, got another; sort them as they were"
    )


def _jobs(rows: Iterator[_Read], children: Mapping[str, _Below]) -> Iterator[Record]:
    last = ""
    for row in rows:
        if "id" not in row.values:
            yield Refused(place=row.place, reason=row.reason or "expected an id, got none")
            continue
        job_id = str(row.values["id"])
        if last and job_id <= last:
            raise _disorder(row.place)
        last = job_id
        below: dict[str, list[_Read]] = {}
        for name, child in children.items():
            taken = list(child.take(job_id))
            yield from (_stray(read) for read in taken if read.values["job_id"] != job_id)
            below[name] = [read for read in taken if read.values["job_id"] == job_id]
        yield _job(row, below)
    for child in children.values():
        yield from (_stray(read) for read in child.take(None))


def _stray(read: _Read) -> Refused:
    reason = f"expected a job of jobs.csv, got '{str(read.values.get('job_id'))[:40]}'"
    return Refused(place=read.place, reason=reason)


def _job(row: _Read, below: Mapping[str, Sequence[_Read]]) -> Record:
    bad = next((r for rows in ([row], *below.values()) for r in rows if r.reason), None)
    if bad is not None:
        return Refused(place=bad.place, reason=f"job {row.values['id']}: {bad.reason}")
    tables = {name: [read.values for read in rows] for name, rows in below.items()}
    try:
        job, revision = job_from_tables({JOBS.name: [row.values], **tables})
    except KBError as error:
        return Refused(place=row.place, reason=f"job {row.values['id']}: {error}")
    beside = {
        table.name: [_without_id(values) for values in tables[table.name]]
        for table in BESIDE
        if tables[table.name]
    }
    kept = KeptJob(job=job, revision=revision, beside=beside)
    return JobRecord(place=row.place, kept=kept)


def _without_id(values: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in values.items() if name != "job_id"}
