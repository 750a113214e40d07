"""A small printed label for car or bin, with a code that opens the job; and that code as a picture."""

from functools import lru_cache

import segno
from flask import Blueprint, render_template, url_for

from web.auth import needs
from web.jobs import job_of
from web.rights import Right

bp = Blueprint("labels", __name__)

# A quarter of the code may be dirty or torn and it still reads (our choice for a bay).
_LEVEL = "q"
# The standard has eight patterns to lay over a code and a score that finds the best; trying them all
# is half the time of a case's page, and every reader takes any. Labels that are stuck on get the best.
_ANY_PATTERN = 3


@bp.app_template_global()
def qr_code(job_id: str) -> str:
    """Return the inline picture of a code that opens the job; it holds the address, nothing else.

    Made to ISO/IEC 18004 by segno; black on white in both themes, so that every phone reads it.
    """
    return _code(_address(job_id), job_id, _ANY_PATTERN)


@bp.app_template_global()
def label_code(job_id: str) -> str:
    """Return the same for a label, in the pattern that reads most easily."""
    return _code(_address(job_id), job_id, None)


def _address(job_id: str) -> str:
    return url_for("jobs.show", job_id=job_id, _external=True)


@lru_cache(maxsize=256)
def _code(address: str, job_id: str, pattern: int | None) -> str:
    code = segno.make(address, error=_LEVEL, micro=False, mask=pattern)
    picture = code.svg_inline(
        scale=4,
        dark="#000000",
        light="#ffffff",
        svgclass="qr",
        lineclass=None,
        omitsize=True,
        title=f"Code that opens {job_id}",
    )
    return str(picture)


@bp.get("/job/<job_id>/label")
@needs(Right.SEE)
def show(job_id: str) -> str:
    """Show the label of a job, open or closed."""
    return render_template("label.html", job=job_of(job_id))
