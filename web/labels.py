"""A small printed label for car or bin, with a code that opens the job; and that code as a picture."""

from flask import Blueprint, render_template, request, url_for

from web.auth import needs
from web.code_picture import best_code, quick_code
from web.jobs import job_of
from web.rights import Right

bp = Blueprint("labels", __name__)


@bp.app_template_global()
def qr_code(job_id: str) -> str:
    """Return the inline picture of a code that opens the job; it holds the address, nothing else."""
    return quick_code(_address(job_id), _title(job_id))


@bp.app_template_global()
def label_code(job_id: str) -> str:
    """Return the same for a label, in the pattern that reads most easily."""
    return best_code(_address(job_id), _title(job_id))


def _title(job_id: str) -> str:
    return f"Code that opens {job_id}"


def _address(job_id: str) -> str:
    # As url_for writes an outside address, which it looks up anew for each.
    return request.host_url.rstrip("/") + url_for("jobs.show", job_id=job_id)


@bp.get("/job/<job_id>/label")
@needs(Right.SEE)
def show(job_id: str) -> str:
    """Show the label of a job, open or closed."""
    return render_template("label.html", job=job_of(job_id))
