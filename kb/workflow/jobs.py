"""Open a job and add what is heard, seen and measured."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date

from kb.case.meant_now import family_of, with_family
from kb.case.model import Complaint, Job, JobState, ReadingSet, Vehicle
from kb.case.parse import Parsed, parse_again
from kb.case.shop_made import made_family
from kb.case.terms import Vocabulary
from kb.case.vin import clean_vin
from kb.errors import ConflictError, ParseError
from kb.store.unit_of_work import UnitOfWork

# One entry is a few lines; more belongs in an import (our choice).
MAX_TEXT = 20_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """What one write left: the job as it is now, and what was read from the text."""

    job: Job
    parsed: Parsed


def _join_sets(job: Job, parsed: Parsed) -> tuple[ReadingSet, ...]:
    """Return the job's reading sets with the new ones; finding numbers follow the job's list."""
    shift = len(job.findings)
    moved = (
        group if group.finding is None else replace(group, finding=group.finding + shift)
        for group in parsed.reading_sets
    )
    return (*job.reading_sets, *moved)


def merge_text(job: Job, text: str, parsed: Parsed) -> Job:
    """Return the job with a typed text and what was read from it; the text itself is kept."""
    return replace(
        job,
        lines=(*job.lines, text),
        symptoms=(*job.symptoms, *parsed.symptoms),
        reading_sets=_join_sets(job, parsed),
        codes=tuple(dict.fromkeys((*job.codes, *parsed.codes))),
        scan=parsed.scan or job.scan,
        findings=(*job.findings, *parsed.findings),
        tried=(*job.tried, *parsed.tried),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Intake:
    """What a job is opened with; ``said`` is the customer's own sentence."""

    text: str
    said: str = ""
    vehicle: Vehicle | None = None
    invoice: str | None = None
    comeback_of: str | None = None


def draft_job(
    text: str, *, words: Vocabulary, vehicle: Vehicle | None = None, today: date
) -> Entry:
    """Return an unsaved job with all that was read from ``text``: a question to the memory."""
    job = Job(id="", opened=today, vehicle=with_family(vehicle or Vehicle(), words))
    # A question is asked again with the page turned back to, or once more with a filter.
    parsed = parse_again(text, words=words)
    return Entry(job=merge_text(job, text, parsed), parsed=parsed)


def _checked_text(text: str) -> str:
    if not text.strip():
        raise ParseError("expected a few words or numbers, got nothing; type what you saw")
    if len(text) > MAX_TEXT:
        raise ParseError(
            f"expected at most {MAX_TEXT} characters in one entry, got {len(text)}; "
            "split it into several",
            text=text,
        )
    return text


def open_job(
    unit: UnitOfWork,
    intake: Intake,
    *,
    words: Vocabulary,
    today: date,
    parsed: Parsed | None = None,
) -> Entry:
    """Open a job from a typed text; with a known invoice number, give that job back unchanged.

    Parameters
    ----------
    parsed : Parsed, optional
        What the text says, where it was read before others had to wait for this write.

    Raises
    ------
    ParseError
        If the text is empty or too long.
    NotFoundError
        If it is said to be a comeback of a job that does not exist.
    """
    known = unit.jobs.by_invoice(intake.invoice) if intake.invoice else None
    checked = _checked_text(intake.text)
    parsed = parsed or parse_again(checked, words=words)
    if known is not None:
        return Entry(job=known, parsed=parsed)
    if intake.comeback_of:
        unit.jobs.get(intake.comeback_of)
    job = Job(
        id=unit.jobs.next_id(),
        opened=today,
        invoice=intake.invoice,
        vehicle=with_family(intake.vehicle or Vehicle(), words),
        complaint=Complaint(said=intake.said),
        comeback_of=intake.comeback_of,
    )
    job = merge_text(job, intake.text, parsed)
    unit.jobs.add(job, verb="open", what=intake.text)
    _note_unread(unit, job.id, parsed)
    return Entry(job=job, parsed=parsed)


def _note_unread(unit: UnitOfWork, job_id: str, parsed: Parsed) -> None:
    unit.unread.add(job_id, [row.text for row in parsed.unread])


def open_job_of(unit: UnitOfWork, job_id: str) -> Job:
    """Return a job that may still be written to.

    Raises
    ------
    NotFoundError
        If there is no such job.
    ConflictError
        If it is closed.
    """
    job = unit.jobs.get(job_id)
    if job.state is JobState.CLOSED:
        raise ConflictError(
            f"expected an open job, got {job_id}, which is closed; open a new job for the car "
            "and name this one as its comeback"
        )
    return job


def add_text(
    unit: UnitOfWork,
    job_id: str,
    text: str,
    *,
    words: Vocabulary,
    parsed: Parsed | None = None,
) -> Entry:
    """Add a typed text to an open job.

    Parameters
    ----------
    parsed : Parsed, optional
        What the text says, where it was read before others had to wait for this write.

    Raises
    ------
    NotFoundError
        If there is no such job.
    ConflictError
        If it is closed.
    ParseError
        If the text is empty or too long.
    """
    job = open_job_of(unit, job_id)
    checked = _checked_text(text)
    parsed = parsed or parse_again(checked, words=words)
    job = merge_text(job, text, parsed)
    unit.jobs.save(job, verb="add", what=text)
    _note_unread(unit, job.id, parsed)
    return Entry(job=job, parsed=parsed)


def set_waiting(unit: UnitOfWork, job_id: str, reason: str) -> Job:
    """Put a job on hold for ``reason``; an empty reason takes it back to open."""
    job = open_job_of(unit, job_id)
    state = JobState.WAITING if reason.strip() else JobState.OPEN
    job = replace(job, state=state, waits_for=reason.strip() or None)
    unit.jobs.save(job, verb="wait", what=reason)
    return job


def _is_year(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) == 4


def read_vehicle(text: str) -> Vehicle:
    """Return the vehicle typed as ``2016 Pellarin Copse P20P``.

    A leading number of four digits is the year, then make, model and the rest as the engine.

    Examples
    --------
    >>> read_vehicle("2016 Pellarin Copse P20P").model
    'Copse'
    """
    parts = text.split()
    year = int(parts.pop(0)) if parts and _is_year(parts[0]) else None
    make, model, engine = [*parts, None, None, None][:3]
    return Vehicle(year=year, make=make, model=model, engine=engine)


def vehicle_line(vehicle: Vehicle) -> str:
    """Return a vehicle in one line, as it was typed."""
    parts = (vehicle.year, vehicle.make, vehicle.model, vehicle.engine)
    return " ".join(str(part) for part in parts if part)


def change_vehicle(unit: UnitOfWork, job_id: str, values: Mapping[str, str]) -> Job:
    """Set the vehicle of an open job from typed values by field name.

    Raises
    ------
    ParseError
        If year or odometer are not numbers.
    """
    job = open_job_of(unit, job_id)
    vehicle = vehicle_from(values)
    families = [made_family(row) for row in unit.terms.rows("family") if not row.out_of_use]
    # A family that the vehicle brought along stays while it is the same model.
    same = (vehicle.make, vehicle.model) == (job.vehicle.make, job.vehicle.model)
    kept = job.vehicle.family if same else None
    family = family_of(vehicle, families) or kept
    if "family" in values and vehicle.family != job.vehicle.family:
        family = vehicle.family
    job = replace(job, vehicle=replace(vehicle, family=family))
    unit.jobs.save(job, verb="vehicle", what=vehicle_line(job.vehicle))
    return job


def vehicle_from(values: Mapping[str, str]) -> Vehicle:
    """Return a vehicle from typed values by field name; empty ones stay missing.

    Raises
    ------
    ParseError
        If year or odometer are not numbers.
    """
    typed = {key: text.strip() for key, text in values.items() if text.strip()}
    plain = {key: typed.get(key) for key in ("make", "model", "engine", "transmission", "family")}
    year, odometer = typed.get("year"), typed.get("odometer", "").replace(",", "")
    if year is not None and not _is_year(year):
        raise ParseError(f"expected the year as four digits, got '{year}'", text=year)
    if odometer and not re.fullmatch(r"[0-9]{1,7}", odometer):
        raise ParseError(
            f"expected the odometer in at most 7 digits, like 88000, got '{odometer[:20]}'",
            text=odometer,
        )
    return Vehicle(
        year=int(year) if year else None,
        odometer=float(odometer) if odometer else None,
        odometer_unit=typed.get("odometer_unit", "mi") if odometer else None,
        vin=clean_vin(typed.get("vin", "")) or None,
        refrigerant=typed.get("refrigerant"),
        **plain,
    )
