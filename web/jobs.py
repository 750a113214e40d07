"""Today and the open job."""

from collections.abc import Mapping
from datetime import date
from typing import Any

from flask import Blueprint, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from kb.case.iso_week import IsoWeek
from kb.case.model import Job, Vehicle
from kb.case.parse import parse_again
from kb.errors import ConflictError, EmptyIndexError, ParseError
from kb.workflow.decisions import waits_for_decision
from kb.workflow.jobs import (
    Intake,
    add_text,
    change_vehicle,
    open_job,
    read_vehicle,
    set_waiting,
)
from kb.workflow.suggest import Suggestion
from kb.workflow.undo import text_taken_back, undo_last
from web import db
from web.auth import needs, person
from web.notes import notes_of
from web.rights import Right

bp = Blueprint("jobs", __name__)

Page = str | Response | tuple[str, int]


@bp.get("/")
@needs(Right.SEE)
def today() -> str:
    """Show open and waiting jobs, and the box that opens one."""
    return _today_page({})


def _today_page(typed: Mapping[str, str]) -> str:
    # All parts of the page ask inside one reading.
    with db.store().read() as unit:
        jobs = sorted(unit.jobs.open_jobs(), key=lambda job: (job.opened, job.id))
        return render_template(
            "today.html",
            jobs=jobs,
            damaged=sorted(unit.jobs.damaged),
            typed=typed,
            today=db.today(),
            week=_week_to_decide(),
        )


def _week_to_decide() -> IsoWeek | None:
    """Return the newest whole week where it waits for a decision; Today itself never counts."""
    week = IsoWeek.last_whole(db.today())
    may = person().may(Right.DECIDE)
    return week if may and waits_for_decision(db.store(), week) else None


@bp.post("/jobs")
@needs(Right.WORK)
def open_new() -> Page:
    """Open a job, or search, whichever button was pressed."""
    text = _typed_text()
    if request.form.get("action") == "find":
        return redirect(url_for("find.show", q=text, vehicle=request.form.get("vehicle", "")))
    vehicle = request.form.get("vehicle", "").strip()
    intake = Intake(
        text=text,
        said=request.form.get("said", "").strip(),
        vehicle=read_vehicle(vehicle) if vehicle else None,
        invoice=request.form.get("invoice", "").strip() or None,
    )
    words, today = db.words(), db.today()
    try:
        # Read before anybody has to wait for this write: a long text takes a while.
        parsed = parse_again(text, words=words)
        with db.writing() as unit:
            entry = open_job(unit, intake, words=words, today=today, parsed=parsed)
    except ParseError as error:
        return _today_page({**request.form, "error": str(error)}), 400
    if text not in entry.job.lines:
        return _today_page({**request.form, "taken": entry.job.id}), 409
    return redirect(url_for("jobs.show", job_id=entry.job.id))


def _typed_text() -> str:
    # Browsers send every line's end as two characters; one was typed.
    return request.form.get("text", "").replace("\r\n", "\n")


def job_of(job_id: str) -> Job:
    """Return one job."""
    with db.store().read() as unit:
        return unit.jobs.get(job_id)


def answers_for(job: Job, *, top: int = 6) -> Suggestion | None:
    """Return the three answers for a job, None before there is a closed one."""
    try:
        return db.memory().suggest(job, top=top)
    except EmptyIndexError:
        return None


@bp.get("/job/<job_id>")
@needs(Right.SEE)
def show(job_id: str) -> Page:
    """Show an open job with the three answers beside it; ``undone`` puts a text back into the box."""
    with db.store().read() as unit:
        job = unit.jobs.get(job_id)
        if job.closing is not None:
            return redirect(url_for("cases.show", case_id=job_id))
        back = text_taken_back(unit, job_id) if "undone" in request.args else ""
        return job_page(job, {"text": back} if back else {})


def job_page(job: Job, typed: Mapping[str, Any]) -> str:
    """Return the page of an open job; ``typed`` holds what a refused form said, and why."""
    # All parts of the page ask inside one reading.
    with db.store().read() as unit:
        answers = answers_for(job)
        return render_template(
            "job.html",
            job=job,
            answers=answers,
            notes=notes_of(job, answers),
            typed=typed,
            revision=unit.jobs.revision(job.id),
            settled=unit.settled.of(job.id),
            fitted=db.fitted_mark(),
        )


@bp.post("/job/<job_id>/add")
@needs(Right.WORK)
def add(job_id: str) -> Page:
    """Add a typed text to an open job."""
    text = _typed_text()
    words = db.words()
    try:
        parsed = parse_again(text, words=words)
        with db.writing() as unit:
            add_text(unit, job_id, text, words=words, parsed=parsed)
    except (ParseError, ConflictError) as error:
        page = job_page(job_of(job_id), {"text": text, "error": str(error)})
        return page, 400 if isinstance(error, ParseError) else 409
    return redirect(url_for("jobs.show", job_id=job_id))


@bp.post("/job/<job_id>/wait")
@needs(Right.WORK)
def wait(job_id: str) -> Response:
    """Put a job on hold with the one thing that it waits for, or take it up again."""
    with db.writing() as unit:
        set_waiting(unit, job_id, request.form.get("waits_for", ""))
    return redirect(url_for("jobs.show", job_id=job_id))


@bp.post("/job/<job_id>/vehicle")
@needs(Right.WORK)
def vehicle(job_id: str) -> Page:
    """Set the vehicle of an open job."""
    try:
        with db.writing() as unit:
            change_vehicle(unit, job_id, request.form)
    except ParseError as error:
        field = "year" if error.text == request.form.get("year", "").strip() else "odometer"
        wrong = {"vehicle_error": str(error), "vehicle_field": field}
        return job_page(job_of(job_id), {**request.form, **wrong}), 400
    return redirect(url_for("jobs.show", job_id=job_id))


@bp.post("/job/<job_id>/undo")
@needs(Right.WORK)
def undo(job_id: str) -> Response:
    """Take back the last write; a text that was taken back stands in the box again."""
    with db.writing() as unit:
        undone = undo_last(unit, job_id, words=db.words())
    text = "text" if undone.job.closing is None and undone.line.verb == "add" else None
    return redirect(url_for("jobs.show", job_id=job_id, undone=text))


@bp.app_template_global()
def vehicle_fields(row: Vehicle) -> list[tuple[str, str, str]]:
    """Return name, label and value of the vehicle's fields."""
    odometer = "" if row.odometer is None else f"{row.odometer:.0f}"
    return [
        ("year", "Year", str(row.year or "")),
        ("make", "Make", row.make or ""),
        ("model", "Model", row.model or ""),
        ("engine", "Engine", row.engine or ""),
        ("transmission", "Transmission", row.transmission or ""),
        ("vin", "VIN", row.vin or ""),
        ("family", "Family (models on the same platform)", row.family or ""),
        ("refrigerant", "Refrigerant", row.refrigerant or ""),
        ("odometer", "Odometer", odometer),
    ]


@bp.app_template_filter()
def waits_for(job: Job) -> str:
    """Return the one thing that an open job waits for."""
    if job.waits_for:
        return job.waits_for
    if not job.findings:
        return "its first check"
    return "its next check, or its close"


@bp.app_template_filter()
def days_words(opened: date, today: date) -> str:
    """Return for how long a job has been open."""
    days = (today - opened).days
    if days < 1:
        return "opened today"
    return f"open for {days} day{'' if days == 1 else 's'}, since {opened.isoformat()}"


@bp.app_template_filter()
def told_lines(job: Job) -> list[str]:
    """Return what the customer answered and what is known of the car, a line each."""
    said, car = job.complaint, job.vehicle
    answers = (
        ("how often", said.frequency),
        ("since", said.since),
        ("just before", said.before_it),
    )
    told = "; ".join(f"{name}: {text}" for name, text in answers if text)
    counted = f"{car.odometer:,.0f} {car.odometer_unit or ''}" if car.odometer is not None else ""
    known = ", ".join(filter(None, (f"VIN {car.vin}" if car.vin else "", counted.strip())))
    return [line for line in (f"The customer says {told}" if told else "", known) if line]
