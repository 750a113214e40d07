"""A closed job as a page: complaint, cause, correction, and everything behind them."""

from flask import Blueprint, redirect, render_template, url_for
from werkzeug.wrappers import Response

from kb.case.model import Job, Phase
from kb.case.standing import standing_of
from web import db
from web.auth import needs
from web.filters import reading_name, reading_value
from web.rights import Right

bp = Blueprint("cases", __name__)


@bp.get("/case/<case_id>")
@needs(Right.SEE)
def show(case_id: str) -> str | Response:
    """Show one closed job."""
    with db.store().read() as unit:
        job = unit.jobs.get(case_id)
        history = unit.history.of(case_id)
        story = unit.jobs.body_html(case_id)
    if job.closing is None:
        return redirect(url_for("jobs.show", job_id=case_id))
    return render_template(
        "case.html",
        job=job,
        standing=standing_of(job),
        history=history,
        readings=before_and_after(job),
        story=story,
    )


def _named_values(job: Job, phase: Phase) -> dict[str, str]:
    """Return the readings of one phase by name, the first of each; those of checks left out."""
    values: dict[str, str] = {}
    for group in job.reading_sets:
        if group.phase is phase and group.finding is None:
            for row in group.readings:
                values.setdefault(reading_name(row), reading_value(row))
    return values


def before_and_after(job: Job) -> list[tuple[str, str, str]]:
    """Return name, value as found and value after the repair of what was read both times."""
    found, after = _named_values(job, Phase.BEFORE), _named_values(job, Phase.AFTER)
    return [(name, found[name], after[name]) for name in found if name in after]
