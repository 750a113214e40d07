"""A closed job as a page: complaint, cause, correction, and everything behind them."""

from flask import Blueprint, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from kb.case.model import Finding, Job, Phase, Reading
from kb.case.retake import Retaken, retaken
from kb.case.standing import standing_of, standing_reason
from kb.workflow.packs.confirm import confirm_here
from web import case_words, db
from web.auth import needs
from web.close import photos_of
from web.filters import reading_name, reading_value
from web.rights import Right

bp = Blueprint("cases", __name__)


@bp.get("/case/<case_id>")
@needs(Right.SEE)
def show(case_id: str) -> str | Response:
    """Show one closed job."""
    # All parts of the page ask inside one reading.
    with db.store().read() as unit:
        job = unit.jobs.get(case_id)
        if job.closing is None:
            return redirect(url_for("jobs.show", job_id=case_id))
        return render_template(
            "case.html",
            job=job,
            standing=standing_of(job),
            why=standing_reason(job),
            history=unit.history.of(case_id),
            readings=before_and_after(job),
            other_sets=[
                group for group in job.reading_sets if _is_of_check(group.phase, group.finding)
            ],
            story=unit.jobs.body_html(case_id),
            revision=unit.jobs.revision(case_id),
            comebacks=unit.jobs.comebacks_of(case_id),
            photos=photos_of(unit, case_id),
        )


@bp.post("/case/<job_id>/confirm")
@needs(Right.DECIDE)
def confirm(job_id: str) -> Response:
    """Say that a case of another shop holds here too, or take that back."""
    with db.writing() as unit:
        confirm_here(unit, job_id, holds=request.form.get("holds") != "no")
    return redirect(url_for("cases.show", case_id=job_id))


def _is_of_check(phase: Phase, finding: int | None) -> bool:
    return phase is Phase.DURING or (phase is Phase.BEFORE and finding is not None)


def before_and_after(job: Job) -> list[tuple[str, str, str, str]]:
    """Return name, value as found, value after the repair and what changed, for each reading."""
    return [_row(pair) for pair in retaken(job, db.words())]


def _row(pair: Retaken) -> tuple[str, str, str, str]:
    named = pair.before or pair.after
    name = reading_name(named) if named else ""
    return name, _value(pair.before), _value(pair.after), case_words.change_words(pair)


def _value(row: Reading | None) -> str:
    return "–" if row is None else reading_value(row)


@bp.app_template_filter()
def spoke(row: Finding, job: Job) -> str:
    """Return which causes a finding spoke for and against."""
    return case_words.spoke_words(row, job.closing, db.words())


bp.add_app_template_filter(case_words.standing_words)
bp.add_app_template_filter(case_words.from_shop)


@bp.app_template_filter()
def correction(job: Job) -> str:
    """Return what was done about the cause, in one line."""
    return case_words.fix_words(job.closing) if job.closing else ""
