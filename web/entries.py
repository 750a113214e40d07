"""Quick entries on the job page: each form adds what typing the same would have added."""

from collections.abc import Callable, Mapping
from typing import Any

from flask import Blueprint, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from kb.case.model import Code, Finding, Job, Phase, ReadingSet, Tried
from kb.case.vin import vin_doubt as doubt_of
from kb.errors import ConflictError, ParseError, UnknownTermError
from kb.workflow.entries import (
    STATUSES,
    TypedReading,
    add_clean_scan,
    add_codes,
    add_finding,
    add_readings,
    add_tried,
    earlier_jobs,
    read_codes,
    read_typed,
    set_answers,
    set_comeback,
)
from web import db
from web.auth import needs
from web.entry_fields import (
    advised,
    check_entry,
    checks_of,
    field_keys,
    is_refused,
    refused_check,
    usual_readings,
)
from web.forms import cents_typed, no_price, read_minutes
from web.jobs import Page, job_of, job_page
from web.rights import Right

bp = Blueprint("entries", __name__)
bp.add_app_template_global(usual_readings)
bp.add_app_template_global(check_entry)
bp.add_app_template_global(is_refused)
bp.add_app_template_global(refused_check)
bp.add_app_template_filter(advised)


def _refused(job_id: str, entry: str, errors: Mapping[str, str]) -> tuple[str, int]:
    """Return the page with everything typed, and messages at the fields of the form ``entry``."""
    typed = {**request.form, "entry": entry, "errors": errors, "states": _states()}
    job = job_of(job_id)
    if job.closing is not None:
        raise ConflictError(f"expected an open job, got {job_id}, which is closed")
    if request.form.get("page") == "checks":
        return _checks_page(job, typed), 400
    return job_page(job, typed), 400


def _states() -> list[str]:
    return request.form.getlist("state")


# Where the page of the job is taken up again after each entry; the others begin at its top.
_LANDS = {
    add_readings: "pieces",
    add_codes: "pieces",
    add_clean_scan: "pieces",
    add_tried: "pieces",
    add_finding: "next",
}


def _written(job_id: str, verb: Callable[..., Job], *args: Any, **known: Any) -> Response:
    with db.writing() as unit:
        verb(unit, job_id, *args, **known)
    return redirect(url_for("jobs.show", job_id=job_id, _anchor=_LANDS.get(verb)))


@bp.post("/job/<job_id>/readings")
@needs(Right.WORK)
def readings(job_id: str) -> Page:
    """Add the readings that were filled in, as one reading set."""
    job_of(job_id)
    rows = {
        name: TypedReading(
            quantity=quantity,
            position=position,
            text=request.form[name],
            unit=request.form.get(f"unit:{quantity}:{position or ''}", ""),
        )
        for name, quantity, position in field_keys(request.form)
    }
    found, errors = read_typed(rows, words=db.words())
    if errors:
        return _refused(job_id, "readings", errors)
    known = {key for row in db.words().baselines.values() for key in row.conditions}
    states = tuple(key for key in _states() if key in known)
    phase = Phase.AFTER if request.form.get("phase") == Phase.AFTER else Phase.BEFORE
    try:
        group = ReadingSet(phase=phase, state=states, readings=found)
        return _written(job_id, add_readings, group)
    except ParseError as error:
        return _refused(job_id, "readings", {"": str(error)})


@bp.post("/job/<job_id>/finding")
@needs(Right.WORK)
def finding(job_id: str) -> Page:
    """Add a check with the outcome whose button was tapped."""
    job_of(job_id)
    form = request.form
    try:
        minutes = read_minutes(form.get("minutes", ""))
    except ParseError as error:
        return _refused(job_id, "finding", {"minutes": str(error)})
    row = Finding(
        check=form.get("check", ""),
        outcome=form.get("outcome", ""),
        subject=form.get("subject", ""),
        minutes=minutes,
    )
    try:
        return _written(job_id, add_finding, row, words=db.words())
    except (ParseError, UnknownTermError) as error:
        return _refused(job_id, "finding", {"subject": str(error)})


@bp.post("/job/<job_id>/codes")
@needs(Right.WORK)
def codes(job_id: str) -> Page:
    """Add trouble codes, or that modules were scanned and had none."""
    job_of(job_id)
    form = request.form
    try:
        if form.get("action") == "none":
            return _written(job_id, add_clean_scan, form.get("module", ""))
        found = read_codes(form.get("code", ""), words=db.words())
        module, status = form.get("module", "").strip(), form.get("status", "")
        rows = [
            Code(
                code=row.code,
                module=row.module or module or None,
                status=row.status or status or None,
            )
            for row in found
        ]
        return _written(job_id, add_codes, rows)
    except ParseError as error:
        return _refused(job_id, "codes", {"code": str(error)})


@bp.post("/job/<job_id>/tried")
@needs(Right.WORK)
def tried(job_id: str) -> Page:
    """Add a part or a piece of work that did not cure."""
    job_of(job_id)
    form = request.form
    errors: dict[str, str] = {}
    cents = minutes = None
    try:
        cents = cents_typed(form.get("cost", ""))
    except ValueError:
        errors["cost"] = no_price(form.get("cost", ""))
    try:
        minutes = read_minutes(form.get("minutes", ""))
    except ParseError as error:
        errors["minutes"] = str(error)
    if errors:
        return _refused(job_id, "tried", errors)
    part, text = form.get("part", ""), form.get("happened", "")
    try:
        row = Tried(part=part, text=text, cost_cents=cents, minutes=minutes)
        return _written(job_id, add_tried, row)
    except ParseError as error:
        return _refused(job_id, "tried", {"part": str(error)})


@bp.post("/job/<job_id>/complaint")
@needs(Right.WORK)
def complaint(job_id: str) -> Page:
    """Set what the customer answers; the customer's own sentence stays."""
    try:
        return _written(job_id, set_answers, request.form)
    except ParseError as error:
        return _refused(job_id, "complaint", {"frequency": str(error)})


@bp.post("/job/<job_id>/comeback")
@needs(Right.WORK)
def comeback(job_id: str) -> Page:
    """Say which earlier job this one is a comeback of."""
    return _written(job_id, set_comeback, request.form.get("earlier", ""))


@bp.get("/job/<job_id>/checks")
@needs(Right.WORK)
def checks(job_id: str) -> Page:
    """Show all checks of a system, each with its outcomes to tap."""
    job = job_of(job_id)
    if job.closing is not None:
        return redirect(url_for("cases.show", case_id=job_id))
    return _checks_page(job, {})


def _checks_page(job: Job, typed: Mapping[str, Any]) -> str:
    words = db.words()
    wanted = request.values.get("system", "") or job.system or ""
    system = wanted if wanted in words.systems else next(iter(words.systems))
    return render_template(
        "checks.html",
        job=job,
        typed=typed,
        system=words.systems[system],
        systems=list(words.systems.values()),
        rows=checks_of(system, words),
    )


@bp.app_template_global()
def vin_doubt(vin: str | None) -> str | None:
    """Return why a VIN can hardly be right."""
    return doubt_of(vin) if vin else None


@bp.app_template_global()
def same_car(job: Job) -> tuple[Job, ...]:
    """Return the other jobs of the same VIN, newest first."""
    with db.store().read() as unit:
        return earlier_jobs(unit, job)


@bp.app_template_global()
def code_statuses() -> tuple[str, ...]:
    """Return the statuses that a code may have."""
    return STATUSES
