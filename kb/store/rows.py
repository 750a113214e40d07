"""Values to rows: a job becomes plain dicts by table, and a hash of its content."""

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import fields
from functools import lru_cache
from html import escape
from typing import Any, Final

from kb.case.casefile import write_case
from kb.case.model import Complaint, Job, Response, Vehicle
from kb.errors import ParseError
from kb.store.columns import Base
from kb.store.shapes import (
    AFTER_CHECK,
    CLOSING,
    CODE,
    FINDING,
    FINDING_RESPONSE,
    FITTED_PART,
    OPTION,
    PROOF,
    READING,
    READING_SET,
    SYMPTOM,
    SYMPTOM_RESPONSE,
    TRIED,
    Shape,
)
from kb.store.tables import (
    AfterCheckRow,
    ClosingRow,
    CodeRow,
    FieldRow,
    FindingResponseRow,
    FindingRow,
    FittedPartRow,
    JobRow,
    LineRow,
    OptionRow,
    ProofRow,
    ReadingRow,
    ReadingSetRow,
    SymptomResponseRow,
    SymptomRow,
    TriedRow,
)

Rows = dict[type[Base], list[dict[str, Any]]]

# Parents first, so that a batch of inserts never meets a missing parent.
TABLES: Final[tuple[type[Base], ...]] = (
    JobRow, LineRow, FieldRow, SymptomRow, SymptomResponseRow, FindingRow, FindingResponseRow,
    ReadingSetRow, ReadingRow, CodeRow, TriedRow, ClosingRow, ProofRow, FittedPartRow, OptionRow,
    AfterCheckRow,
)  # fmt: skip
# What lies below a job, each with what lies below it and goes with it by cascade.
FAMILIES: Final[Mapping[type[Base], tuple[type[Base], ...]]] = {
    LineRow: (),
    FieldRow: (),
    SymptomRow: (SymptomResponseRow,),
    FindingRow: (FindingResponseRow,),
    ReadingSetRow: (ReadingRow,),
    CodeRow: (),
    TriedRow: (),
    ClosingRow: (ProofRow, FittedPartRow, OptionRow, AfterCheckRow),
}
PLAIN: Final = ("id", "opened", "system", "invoice", "waits_for", "comeback_of", "body")
VEHICLE: Final = tuple(row.name for row in fields(Vehicle))
COMPLAINT: Final = tuple(row.name for row in fields(Complaint))
_READING_NUMBERS: Final = ("canonical", "low", "high")


def content_hash(job: Job) -> str:
    """Return the SHA-256 of a job's case file and of the numbers computed from it, in hex.

    The case file leaves out what can be computed again (canonical values); the store keeps those
    numbers, so the hash covers them too.
    """
    parts = [write_case(job)]
    for row in job.reading_sets:
        parts += [
            _numbers(reading, _READING_NUMBERS) + str(reading.word) for reading in row.readings
        ]
    for response in _responses(job):
        parts.append(_numbers(response, ("before", "after")))
    try:
        return hashlib.sha256("\x1f".join(parts).encode()).hexdigest()
    except UnicodeEncodeError as error:
        raise ParseError(
            f"expected whole characters in job {job.id}, got half of one; type the text again"
        ) from error


def _numbers(value: Any, names: Sequence[str]) -> str:
    # SQLite drops the sign of a zero; adding zero drops it here as well.
    numbers = [getattr(value, name) for name in names]
    return ",".join(["" if number is None else repr(float(number) + 0.0) for number in numbers])


def _responses(job: Job) -> Iterable[Response]:
    yield from (row.response for row in job.symptoms if row.response is not None)
    for finding in job.findings:
        yield from finding.responses


def _columns(shape: Shape, value: Any, **keys: Any) -> dict[str, Any]:
    row = {name: getattr(value, name) for name in shape.names}
    for name in shape.enums:
        if row[name] is not None:
            row[name] = row[name].value
    return row | keys


def job_row(job: Job, *, revision: int) -> dict[str, Any]:
    """Return the row of ``jobs``."""
    row: dict[str, Any] = {name: getattr(job, name) for name in PLAIN}
    row |= {f"vehicle_{name}": getattr(job.vehicle, name) for name in VEHICLE}
    row |= {f"complaint_{name}": getattr(job.complaint, name) for name in COMPLAINT}
    row["scan_none_found"] = job.scan.none_found if job.scan else None
    row["scan_modules"] = job.scan.modules if job.scan else None
    return row | {
        "state": job.state.value,
        "origin": job.origin.value,
        "content_hash": content_hash(job),
        "body_html": body_html(job.body),
        "revision": revision,
    }


# Many invented jobs carry the same sentence; the texts kept are few, since a shop's own differ.
@lru_cache(maxsize=16)
def body_html(body: str) -> str:
    """Return a job's text as clean HTML; what the renderer refuses stays as typed, escaped."""
    if not body.strip():
        return ""
    from kb.case.story import render_story  # noqa: PLC0415 - slow to import

    try:
        return render_story(body)
    except ParseError:
        return f"<pre>{escape(body)}</pre>"


def rows_of(jobs: Iterable[Job], *, revisions: Mapping[str, int] | None = None) -> Rows:
    """Return the rows of ``jobs`` by table; a job absent from ``revisions`` is at its first."""
    rows: Rows = defaultdict(list)
    for job in jobs:
        rows[JobRow].append(job_row(job, revision=(revisions or {}).get(job.id, 1)))
        _add_below(rows, job)
    _refuse_nul(rows)
    return rows


def rows_below(job: Job) -> Rows:
    """Return the rows of a job but its own, by table."""
    rows: Rows = defaultdict(list)
    _add_below(rows, job)
    return rows


def _add_below(rows: Rows, job: Job) -> None:
    _add_words(rows, job)
    _add_symptoms(rows, job)
    _add_measured(rows, job)
    _add_closing(rows, job)


def _refuse_nul(rows: Rows) -> None:
    """Refuse the one sign that SQLite keeps and PostgreSQL does not: a shop may move any day."""
    for table in rows.values():
        for row in table:
            if any(isinstance(value, str) and "\0" in value for value in row.values()):
                name = row.get("job_id", row.get("id"))
                raise ParseError(f"expected text in job {name}, got a NUL sign; take it out")


def _add_flat(rows: Rows, shape: Shape, values: Sequence[Any], **keys: Any) -> None:
    rows[shape.table] += [
        _columns(shape, value, ordinal=ordinal, **keys) for ordinal, value in enumerate(values)
    ]


def _add_words(rows: Rows, job: Job) -> None:
    rows[LineRow] += [
        {"job_id": job.id, "ordinal": ordinal, "text": text}
        for ordinal, text in enumerate(job.lines)
    ]
    rows[FieldRow] += [
        {"job_id": job.id, "ordinal": ordinal, "name": name, "value": value}
        for ordinal, (name, value) in enumerate(job.fields)
    ]


def _add_symptoms(rows: Rows, job: Job) -> None:
    _add_flat(rows, SYMPTOM, job.symptoms, job_id=job.id)
    for parent, symptom in enumerate(job.symptoms):
        if symptom.response is not None:
            _add_flat(rows, SYMPTOM_RESPONSE, (symptom.response,), job_id=job.id, parent=parent)


def _add_measured(rows: Rows, job: Job) -> None:
    _add_flat(rows, FINDING, job.findings, job_id=job.id)
    for parent, finding in enumerate(job.findings):
        _add_flat(rows, FINDING_RESPONSE, finding.responses, job_id=job.id, parent=parent)
    _add_flat(rows, READING_SET, job.reading_sets, job_id=job.id)
    for parent, reading_set in enumerate(job.reading_sets):
        _add_flat(rows, READING, reading_set.readings, job_id=job.id, parent=parent)
    _add_flat(rows, CODE, job.codes, job_id=job.id)
    _add_flat(rows, TRIED, job.tried, job_id=job.id)


def _add_closing(rows: Rows, job: Job) -> None:
    if job.closing is None:
        return
    rows[ClosingRow].append(_columns(CLOSING, job.closing, job_id=job.id))
    _add_flat(rows, PROOF, job.closing.proofs, job_id=job.id)
    _add_flat(rows, FITTED_PART, job.closing.parts, job_id=job.id)
    _add_flat(rows, OPTION, job.closing.options, job_id=job.id)
    _add_flat(rows, AFTER_CHECK, job.closing.after_checks, job_id=job.id)
