"""Entries without typing a sentence: readings, findings, codes, parts tried, what the customer answers.

Each adds what typing it would have added, as one write with one line of history.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from kb.case.model import Code, Finding, Job, Reading, ReadingSet, Scan, Tried
from kb.case.parse import parse, parse_reading
from kb.case.terms import OPEN_OUTCOMES, Vocabulary
from kb.errors import ConflictError, KBError, ParseError
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.jobs import open_job_of

# The words of one field: a place, a part, an answer (our choice).
MAX_WORDS = 200
# Statuses that typing knows as well.
STATUSES = ("stored", "pending", "current", "history")


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedReading:
    """A number as typed into the field of a quantity; ``unit`` is the one chosen beside it."""

    quantity: str
    text: str
    unit: str
    position: str | None = None


def read_typed(
    rows: Mapping[str, TypedReading], *, words: Vocabulary
) -> tuple[tuple[Reading, ...], dict[str, str]]:
    """Return the readings of the fields that are not empty, and messages by field."""
    readings, errors = [], {}
    for field, row in rows.items():
        if not row.text.strip():
            continue
        try:
            readings.append(
                parse_reading(
                    row.text, row.quantity, words=words, unit=row.unit, position=row.position
                )
            )
        except KBError as error:
            errors[field] = str(error)
    return tuple(readings), errors


def _checked(words: str, what: str) -> str:
    if len(words) > MAX_WORDS:
        raise ParseError(
            f"expected {what} in at most {MAX_WORDS} characters, got {len(words)}; say it shorter, "
            "and the rest in the box",
            text=words,
        )
    return words.strip()


def add_readings(unit: UnitOfWork, job_id: str, group: ReadingSet) -> Job:
    """Add a reading set to an open job.

    Raises
    ------
    ParseError
        If it holds no reading.
    """
    if not group.readings:
        raise ParseError("expected at least one number, got none; fill in what you read")
    job = open_job_of(unit, job_id)
    job = replace(job, reading_sets=(*job.reading_sets, group))
    what = "; ".join(_reading_words(row) for row in group.readings)
    unit.jobs.save(job, verb="readings", what=what)
    return job


def _reading_words(row: Reading) -> str:
    place = f" {row.position}" if row.position else ""
    return f"{row.quantity.replace('_', ' ')}{place} {row.typed} {row.unit}"


def add_finding(unit: UnitOfWork, job_id: str, finding: Finding, *, words: Vocabulary) -> Job:
    """Add a check with its outcome to an open job.

    Raises
    ------
    UnknownTermError
        If there is no such check.
    ParseError
        If the outcome is none of the check's, or its subject is missing.
    """
    check = words.check(finding.check)
    outcomes = (*check.outcomes, *OPEN_OUTCOMES)
    if finding.outcome not in outcomes:
        raise ParseError(
            f"expected one of {', '.join(outcomes)}, got '{finding.outcome[:40]}'",
            text=finding.outcome,
        )
    subject = _checked(finding.subject or "", "the subject") or None
    if check.subject and subject is None:
        raise ParseError(f"expected which {check.subject}, got nothing; name it, then tap again")
    job = open_job_of(unit, job_id)
    finding = replace(finding, subject=subject)
    job = replace(job, findings=(*job.findings, finding))
    named = f"{check.name} ({subject})" if subject else check.name
    unit.jobs.save(job, verb="finding", what=f"{named}: {finding.outcome.replace('_', ' ')}")
    return job


def read_codes(text: str, *, words: Vocabulary) -> tuple[Code, ...]:
    """Return the trouble codes typed as ``text``, with module and status where it names them.

    Raises
    ------
    ParseError
        If there is none, or one is not in the form of SAE J2012.
    """
    parsed = parse(text, words=words)
    for refused in parsed.refused:
        raise ParseError(refused.message, text=refused.text)
    for asked in parsed.questions:
        options = " or ".join(asked.options)
        raise ParseError(f"{asked.text}: {asked.why}; write {options}", text=asked.text)
    if not parsed.codes or parsed.unread:
        raise ParseError(
            "expected codes of a letter P, B, C or U and four digits, like P0301, got "
            f"'{text.strip()[:40]}'; write them as the scan tool shows them",
            text=text,
        )
    return parsed.codes


def add_codes(unit: UnitOfWork, job_id: str, codes: Iterable[Code]) -> Job:
    """Add trouble codes to an open job; those it has already are not added twice."""
    added = tuple(codes)
    job = open_job_of(unit, job_id)
    modules = tuple(dict.fromkeys(row.module for row in added if row.module))
    before = job.scan.modules if job.scan else ()
    job = replace(
        job,
        codes=tuple(dict.fromkeys((*job.codes, *added))),
        scan=Scan(none_found=False, modules=tuple(dict.fromkeys((*before, *modules)))),
    )
    what = " ".join(" ".join(filter(None, (c.code, c.module, c.status))) for c in added)
    unit.jobs.save(job, verb="codes", what=what)
    return job


def add_clean_scan(unit: UnitOfWork, job_id: str, modules: str) -> Job:
    """Note that modules were asked for codes and had none; ``modules`` separated by commas."""
    named = tuple(filter(None, (part.strip() for part in _checked(modules, "modules").split(","))))
    job = open_job_of(unit, job_id)
    job = replace(job, scan=Scan(none_found=True, modules=named))
    unit.jobs.save(job, verb="codes", what=f"scanned, none found {', '.join(named)}".strip())
    return job


def add_tried(unit: UnitOfWork, job_id: str, tried: Tried) -> Job:
    """Add a part or a piece of work that did not cure to an open job.

    Raises
    ------
    ParseError
        If no part is named.
    """
    part, text = _checked(tried.part, "the part"), _checked(tried.text, "what happened")
    if not part:
        raise ParseError("expected the part or the work that did not cure, got nothing; name it")
    job = open_job_of(unit, job_id)
    job = replace(job, tried=(*job.tried, replace(tried, part=part, text=text)))
    unit.jobs.save(job, verb="tried", what=": ".join(filter(None, (part, text))))
    return job


def set_answers(unit: UnitOfWork, job_id: str, answers: Mapping[str, str]) -> Job:
    """Set what the customer answers: ``frequency``, ``since``, ``before_it``; empty is unknown.

    The customer's own sentence stays as it was said.
    """
    job = open_job_of(unit, job_id)
    frequency, since, before_it = (
        _checked(answers.get(name, ""), "an answer") or None
        for name in ("frequency", "since", "before_it")
    )
    complaint = replace(job.complaint, frequency=frequency, since=since, before_it=before_it)
    job = replace(job, complaint=complaint)
    unit.jobs.save(
        job, verb="complaint", what="; ".join(filter(None, (frequency, since, before_it)))
    )
    return job


def set_comeback(unit: UnitOfWork, job_id: str, earlier: str) -> Job:
    """Say that a job is a comeback of an earlier one; an empty id says that it is none.

    Raises
    ------
    NotFoundError
        If there is no such earlier job.
    ConflictError
        If the earlier one is the job itself, or is not closed.
    """
    job = open_job_of(unit, job_id)
    if earlier and (earlier == job_id or unit.jobs.get(earlier).closing is None):
        raise ConflictError(
            f"expected an earlier, closed job, got {earlier}; choose the one the car came back from"
        )
    job = replace(job, comeback_of=earlier or None)
    unit.jobs.save(job, verb="comeback", what=earlier)
    return job


def earlier_jobs(unit: UnitOfWork, job: Job) -> tuple[Job, ...]:
    """Return the other jobs of a job's car by its VIN, newest first; none without a VIN."""
    if not job.vehicle.vin:
        return ()
    same = (row for row in unit.jobs.of_vehicle(job.vehicle.vin) if row.id != job.id)
    return tuple(sorted(same, key=lambda row: (row.opened, row.id), reverse=True))
