"""JSON Lines: one JSON object a line, read and written a line at a time."""

import json
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any, BinaryIO, Final

from kb.case.model import Job
from kb.errors import ExchangeError, KBError, ParseError
from kb.store.exported import BEFORE_JOBS, BESIDE, HISTORY, ExportedTable
from kb.store.whole_shop import KeptJob
from kb.workflow.exchange.records import (
    FORMAT,
    End,
    JobRecord,
    Place,
    Record,
    Refused,
    RowRecord,
    Start,
)
from kb.workflow.exchange.values import LARGEST, as_json, from_row

FILE: Final = "shop.jsonl"
# Longest line, in bytes: a job with twenty earlier states is one (our choice; guards memory).
MAX_LINE: Final = 32_000_000
ROW_TABLES: Final = {table.name: table for table in (*BEFORE_JOBS, HISTORY)}
JOB_RECORD: Final = "jobs"
FILE_RECORD: Final = "case_file"
Fields = Mapping[str, Any]


# --- writing -------------------------------------------------------------------------------------


def start_line(start: Start) -> dict[str, Any]:
    """Return the first line of an export."""
    made_at = (start.made_at or datetime.now(UTC)).astimezone(UTC).isoformat()
    known = {"format": FORMAT, "jobs": start.jobs, "last_job": start.last_job, "made_at": made_at}
    return {"record": "export", **known}


def row_line(table: ExportedTable, row: Fields) -> dict[str, Any]:
    """Return the line of a row; what is not there is left out."""
    return {"record": table.name, **_plain(row)}


def beside_fields(kept: KeptJob) -> dict[str, Any]:
    """Return revision and rows that lie beside a job; tables without a row are left out."""
    tables = {name: [_plain(row) for row in rows] for name, rows in kept.beside.items() if rows}
    return {"revision": kept.revision, **tables}


def _plain(row: Fields) -> dict[str, Any]:
    return {name: as_json(value) for name, value in row.items() if value is not None}


class LineWriter:
    """Writes JSON Lines and counts them by kind."""

    def __init__(self, path: Path) -> None:
        self._stream = path.open("x", encoding="utf-8", newline="\n")
        self._counts: Counter[str] = Counter()

    def write(self, line: Fields) -> None:
        """Write one line."""
        self._stream.write(json.dumps(line, ensure_ascii=False, allow_nan=False) + "\n")
        self._counts[line["record"]] += 1

    def end(self) -> None:
        """Write how many lines of each kind there are, and close the file."""
        self.write({"record": "end", "counts": dict(self._counts)})
        self._stream.close()


class LinesSink:
    """One file with everything in it."""

    def __init__(self, folder: Path) -> None:
        self._lines = LineWriter(folder / FILE)

    def start(self, start: Start) -> None:
        """Write the first line."""
        self._lines.write(start_line(start))

    def row(self, table: ExportedTable, row: Fields) -> None:
        """Write a row."""
        self._lines.write(row_line(table, row))

    def job(self, kept: KeptJob) -> None:
        """Write a job."""
        job = _adapter().dump_python(kept.job, mode="json", exclude_none=True)
        self._lines.write({"record": JOB_RECORD, "job": job, **beside_fields(kept)})

    def end(self) -> None:
        """Write the last line."""
        self._lines.end()


@cache
def _adapter() -> Any:
    from pydantic import TypeAdapter  # noqa: PLC0415 - slow to import

    return TypeAdapter(Job)


@cache
def job_model() -> Any:
    """Return the pydantic model of an object with a ``job``: strict, and nothing unknown in it."""
    from pydantic import ConfigDict, create_model  # noqa: PLC0415 - slow to import

    config = ConfigDict(strict=True, extra="forbid", allow_inf_nan=False)
    return create_model("JobLine", __config__=config, job=(Job, ...))


# --- reading -------------------------------------------------------------------------------------


def read_lines(path: Path, *, case_of: Callable[[Any], Job] | None = None) -> Iterator[Record]:
    """Yield the records of a file of JSON Lines.

    Parameters
    ----------
    case_of : callable, optional
        Gives the job of a ``case_file`` line; without it such a line is refused.

    Raises
    ------
    ExchangeError
        If it does not begin as an export of this format.
    """
    counts: Counter[str] = Counter()
    expected = None
    with path.open("rb") as stream:
        for number, raw in _raw_lines(stream):
            place = Place(file=path.name, line=number)
            try:
                fields = _object(raw)
                kind = str(fields.pop("record", ""))
                counts[kind] += 1
                if number == 1:
                    yield start_of(kind, fields)
                elif kind == "end":
                    counts[kind] -= 1
                    expected = counts_of(fields)
                else:
                    yield _record(place, kind, fields, case_of=case_of)
            except ParseError as error:
                if number == 1:
                    raise ExchangeError(f"{path.name}: {error}") from error
                yield Refused(place=place, reason=str(error))
    yield End(expected=expected, got=+counts)


def _raw_lines(stream: BinaryIO) -> Iterator[tuple[int, bytes]]:
    number = 0
    while raw := stream.readline(MAX_LINE):
        number += 1
        if len(raw) == MAX_LINE and not raw.endswith(b"\n"):
            raise ExchangeError(f"line {number}: expected less than {MAX_LINE} bytes, got more")
        if raw.strip():
            yield number, raw


def _object(raw: bytes) -> dict[str, Any]:
    try:
        fields = json.loads(raw.decode("utf-8-sig"), parse_constant=_no_constant)
    except (ValueError, RecursionError) as error:
        raise ParseError(f"expected one JSON object a line, got: {str(error)[:120]}") from error
    if not isinstance(fields, dict):
        raise ParseError(f"expected one JSON object a line, got {type(fields).__name__}")
    return fields


def _no_constant(name: str) -> float:
    raise ValueError(f"{name} is no JSON")


def start_of(kind: str, fields: Fields) -> Start:
    """Return the first record of an export.

    Raises
    ------
    ExchangeError
        If it is another, or of another format.
    """
    if kind != "export":
        raise ExchangeError(
            "expected an export that begins with a line 'export', got another file; "
            "make one with baybook export"
        )
    if fields.get("format") != FORMAT:
        raise ExchangeError(
            f"expected an export of format {FORMAT}, got {fields.get('format')}; "
            "read it with the Baybook that wrote it, or a newer one"
        )
    jobs, last_job = fields.get("jobs"), fields.get("last_job")
    if not (_is_count(jobs) and _is_count(last_job)):
        raise ExchangeError(f"expected numbers of jobs, got {jobs} and {last_job}")
    return Start(jobs=int(jobs or 0), last_job=int(last_job or 0))


def _is_count(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= LARGEST


def counts_of(fields: Fields) -> dict[str, int]:
    """Return how many records of each kind an export says that it has.

    Raises
    ------
    ParseError
        If it does not say so in whole numbers.
    """
    counts = fields.get("counts")
    if not isinstance(counts, dict) or not all(map(_is_count, counts.values())):
        raise ParseError("expected counts by kind, got something else")
    return {str(kind): number for kind, number in counts.items() if number}


def _record(
    place: Place, kind: str, fields: dict[str, Any], *, case_of: Callable[[Any], Job] | None
) -> Record:
    if kind == JOB_RECORD:
        return JobRecord(place=place, kept=_kept(_job(fields.pop("job", None)), fields))
    if kind == FILE_RECORD and case_of is not None:
        named = {name: fields.pop(name) for name in ("file", "body") if name in fields}
        try:
            return JobRecord(place=place, kept=_kept(case_of(named), fields))
        except KBError as error:
            raise ParseError(str(error)) from error
    if kind not in ROW_TABLES:
        raise ParseError(f"expected a record out of {', '.join(ROW_TABLES)}, got '{kind[:40]}'")
    table = ROW_TABLES[kind]
    return RowRecord(place=place, table=table, values=from_row(table.columns, fields))


def _job(value: Any) -> Job:
    from pydantic import ValidationError  # noqa: PLC0415 - slow to import

    try:
        job: Job = job_model().model_validate_json(json.dumps({"job": value})).job
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        place = ".".join(map(str, first["loc"]))
        raise ParseError(
            f"expected a job as schema.json says, got {place}: {first['msg']}"
        ) from None
    return job


def _kept(job: Job, fields: dict[str, Any]) -> KeptJob:
    revision = fields.pop("revision", 1)
    if not _is_count(revision) or revision < 1:
        raise ParseError(f"expected revision as a whole number above 0, got {str(revision)[:40]}")
    beside = {}
    for table in BESIDE:
        rows = fields.pop(table.name, [])
        if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
            raise ParseError(f"expected {table.name} as a list of objects, got something else")
        if rows:
            columns = table.columns_but("job_id")
            beside[table.name] = [from_row(columns, row) for row in rows]
    if fields:
        raise ParseError(f"expected nothing beside a job but its tables, got {min(fields)[:40]}")
    return KeptJob(job=job, revision=revision, beside=beside)
