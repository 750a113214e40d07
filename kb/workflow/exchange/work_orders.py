"""Tables of closed work orders become jobs: mapped, checked row by row, loaded once."""

import csv
import hashlib
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Final

import tomli

from kb.case.clauses import read_clauses
from kb.case.model import Closing, Job, JobState, Origin, Vehicle
from kb.case.terms import Vocabulary
from kb.errors import ImportTableError
from kb.store.unit_of_work import UnitOfWork

# What a column may stand for; text and date are needed.
ROLES: Final = ("text", "date", "asset", "component", "failure", "location", "action", "cost", "id")
_NEEDED: Final = ("text", "date")
_FIELDS: Final = ("component", "failure", "location", "action", "cost")
# Marks for "nothing written down" in exported tables; common practice, no source.
_EMPTY: Final = frozenset({"", "na", "n/a", "none", "null", "nan", "-"})
_DATES: Final = ("%Y-%m-%d", "%d.%m.%Y", "%m/%d/%Y", "%d/%m/%Y", "%Y/%m/%d", "%Y%m%d")
_MAX_TEXT: Final = 20_000
# Largest field that the reader takes, in characters (our choice; guards memory).
_MAX_CELL: Final = 1_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class RefusedRow:
    """A row that did not load; ``line`` counts from 1 with the header as line 1."""

    line: int
    reason: str
    row: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadTable:
    """What a table holds: jobs ready to load, and the refused rows."""

    jobs: tuple[Job, ...]
    refused: tuple[RefusedRow, ...]
    header: tuple[str, ...]


def read_mapping(pairs: Sequence[str], file: Path | None = None) -> dict[str, str]:
    """Return role to column name from ``role=column`` flags and a TOML file; flags win.

    Raises
    ------
    ImportTableError
        If a role is unknown, or text or date have no column.
    """
    mapping: dict[str, str] = {}
    if file is not None:
        try:
            mapping = {k: str(v) for k, v in tomli.loads(file.read_text("utf-8")).items()}
        except (OSError, UnicodeDecodeError, tomli.TOMLDecodeError) as error:
            raise ImportTableError(f"{file.name}: expected a TOML file, got: {error}") from error
    for pair in pairs:
        role, sign, column = pair.partition("=")
        if not sign:
            raise ImportTableError(f"expected --map role=column, got '{pair}'")
        mapping[role.strip()] = column.strip()
    unknown = sorted(set(mapping) - set(ROLES))
    if unknown:
        raise ImportTableError(f"expected roles {', '.join(ROLES)}, got {', '.join(unknown)}")
    missing = [role for role in _NEEDED if role not in mapping]
    if missing:
        raise ImportTableError(
            f"expected a column for {' and '.join(missing)}, got none; "
            f"add --map {missing[0]}=COLUMN"
        )
    return mapping


def _columns(header: Sequence[str], mapping: Mapping[str, str]) -> dict[str, int]:
    at = {name.strip(): i for i, name in enumerate(header)}
    lost = [f"{role}={column}" for role, column in mapping.items() if column not in at]
    if lost:
        raise ImportTableError(
            f"expected columns {', '.join(at)}, got the mapping {', '.join(lost)}; "
            "use a column name of the table's first line"
        )
    return {role: at[column] for role, column in mapping.items()}


def _read_date(text: str) -> date:
    cleaned = text.strip().split("T")[0].split(" ")[0]
    for pattern in _DATES:
        try:
            return datetime.strptime(cleaned, pattern).date()  # noqa: DTZ007 (a date has no zone)
        except ValueError:
            continue
    raise ImportTableError(f"expected a date like 2026-05-14, got '{text[:30]}'")


def _values(row: Sequence[str], columns: Mapping[str, int]) -> dict[str, str]:
    values = {}
    for role, at in columns.items():
        cell = row[at].strip() if at < len(row) else ""
        if cell.lower() not in _EMPTY:
            values[role] = cell
    return values


def _row_id(values: Mapping[str, str], seen: Counter[str]) -> str:
    """Return an id that follows from the row's content, so that a second import adds nothing."""
    text = "\x1f".join(f"{role}={values.get(role, '')}" for role in ROLES)
    seen[text] += 1
    digest = hashlib.sha256(f"{text}\x1f{seen[text]}".encode()).hexdigest()
    return f"W{digest[:12]}"


def _cause(values: Mapping[str, str]) -> str | None:
    """Return what it turned out to be in the table's own words, None where half is missing."""
    if "component" not in values or "failure" not in values:
        return None
    return f"{values['component']}: {values['failure']}".replace("_", " ")


def _job(values: Mapping[str, str], job_id: str, words: Vocabulary) -> Job:
    text = values.get("text", "")
    if not text:
        raise ImportTableError("expected words in the text column, got none")
    if len(text) > _MAX_TEXT:
        raise ImportTableError(f"expected at most {_MAX_TEXT} characters of text, got {len(text)}")
    if "date" not in values:
        raise ImportTableError("expected a date, got none")
    when = _read_date(values["date"])
    symptoms = [row for clause in read_clauses(text, words) for row in clause.symptoms]
    return Job(
        id=job_id,
        opened=when,
        state=JobState.CLOSED,
        origin=Origin.IMPORTED,
        vehicle=Vehicle(model=values.get("asset")),
        lines=(text,),
        symptoms=tuple(row for row in symptoms if row.concept),
        fields=tuple((role, values[role]) for role in _FIELDS if role in values),
        closing=Closing(closed=when, end="fixed", cause=_cause(values)),
    )


def read_table(
    lines: Iterable[str],
    mapping: Mapping[str, str],
    *,
    words: Vocabulary,
    progress: Callable[[int], None] | None = None,
) -> ReadTable:
    """Return the jobs of a CSV table (RFC 4180) and the rows that were refused, with reasons.

    Raises
    ------
    ImportTableError
        If the table has no header or a mapped column is not in it.
    """
    csv.field_size_limit(_MAX_CELL)
    reader = csv.reader(lines)
    header = next(reader, None)
    if not header:
        raise ImportTableError("expected a first line with column names, got an empty table")
    header[0] = header[0].removeprefix("\ufeff")
    columns = _columns(header, mapping)
    jobs: list[Job] = []
    refused: list[RefusedRow] = []
    seen: Counter[str] = Counter()
    for line, row in _numbered(reader):
        if progress is not None:
            progress(line)
        if not any(cell.strip() for cell in row):
            continue
        try:
            if len(row) != len(header):
                raise ImportTableError(f"expected {len(header)} cells, got {len(row)}")  # noqa: TRY301
            values = _values(row, columns)
            jobs.append(_job(values, _row_id(values, seen), words))
        except ImportTableError as error:
            refused.append(RefusedRow(line=line, reason=str(error), row=tuple(row)))
    return ReadTable(jobs=tuple(jobs), refused=tuple(refused), header=tuple(header))


def _numbered(reader: Iterator[list[str]]) -> Iterator[tuple[int, list[str]]]:
    line = 1
    while True:
        line += 1
        try:
            yield line, next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise ImportTableError(f"line {line}: expected CSV, got: {error}") from error


def load_table(unit: UnitOfWork, table: ReadTable) -> int:
    """Add the jobs that the store does not hold yet; return how many."""
    known = set(unit.jobs.ids())
    new = [job for job in table.jobs if job.id not in known]
    unit.jobs.add_many(new, verb="import", what="table of work orders")
    return len(new)


def write_refused(table: ReadTable, path: Path) -> None:
    """Write the refused rows beside the input: line, reason, then the row as it was."""
    with path.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream)
        writer.writerow(["line", "reason", *table.header])
        writer.writerows([row.line, row.reason, *row.row] for row in table.refused)
