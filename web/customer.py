"""The customer's page, in plain words: what was wrong, how it is known, the choices, what to watch.

Only what is named here reaches the page. Nothing of the shop's own does: no minutes, no notes, no
history, no chances, no other customer's case, no names of staff, no money on parts in vain.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from flask import Blueprint, redirect, render_template, url_for
from werkzeug.wrappers import Response

from kb.case.handover import handovers_of, leaving_words
from kb.case.model import Closing, Finding, Job, Option
from kb.workflow.close_draft import drafted_proofs
from kb.workflow.declined import DECLINED_ENDS
from web import case_words, db
from web.auth import needs
from web.cases import before_and_after
from web.close import photos_of
from web.filters import check_name, plain, response, vehicle
from web.jobs import answers_for, job_of
from web.rights import Right

bp = Blueprint("customer", __name__)

_OPEN_UNPROVEN = "The cause is not proven yet; we are still looking."
_OPEN_PROVEN = "Our checks show the cause. Nothing is repaired yet."

# What stands on the page after a decline.
_LEFT = "Nothing was repaired, as you decided."


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """All that the page shows; texts are ready to read."""

    job_id: str
    vehicle: str
    said: str
    outcome: str
    closed: bool = True
    causes: tuple[str, ...] = ()
    known: tuple[tuple[str, str, str | None], ...] = ()
    found: tuple[str, ...] = ()
    readings: Sequence[tuple[str, str, str, str]] = ()
    options: tuple[Option, ...] = ()
    done: str = ""
    holds: tuple[tuple[str, str], ...] = ()
    watch: tuple[str, ...] = ()
    stop: tuple[str, ...] = ()
    leave: str = ""


@bp.get("/case/<case_id>/customer")
@needs(Right.SEE)
def of_case(case_id: str) -> str | Response:
    """Show a closed job as its customer reads it."""
    with db.store().read() as unit:
        job = unit.jobs.get(case_id)
        photos = {key for key, _ in photos_of(unit, case_id)}
    if job.closing is None:
        return redirect(url_for("customer.of_job", job_id=case_id))
    return render_template("customer.html", sheet=_closed(job, photos))


@bp.get("/job/<job_id>/customer")
@needs(Right.SEE)
def of_job(job_id: str) -> str | Response:
    """Show what is known so far on an open job."""
    job = job_of(job_id)
    if job.closing is not None:
        return redirect(url_for("customer.of_case", case_id=job_id))
    return render_template("customer.html", sheet=_open(job))


def _closed(job: Job, photos: set[str]) -> Sheet:
    closing, words = job.closing, db.words()
    if closing is None:
        return _open(job)
    causes = [key for key in (closing.cause, closing.second_cause) if key]
    watch, stop = _handover(causes)
    return Sheet(
        job_id=job.id,
        vehicle=vehicle(job.vehicle),
        said=job.complaint.said,
        outcome=case_words.end_words(job),
        causes=tuple(words.cause_name(key) for key in causes),
        known=tuple(
            (
                case_words.known_by(row.method, words),
                row.text,
                row.photo if row.photo in photos else None,
            )
            for row in closing.proofs
        ),
        readings=[row for row in before_and_after(job) if "–" not in row[1:3]],
        options=closing.options,
        done=_done(closing),
        holds=tuple((case_words.holds_by(r.kind, words), r.text) for r in closing.after_checks),
        watch=watch,
        stop=stop,
        leave=leaving_words(),
    )


def _done(closing: Closing) -> str:
    """Return what was done; nothing where the customer declined, whatever fix is named."""
    return _LEFT if closing.end in DECLINED_ENDS else case_words.fix_words(closing)


def _open(job: Job) -> Sheet:
    proven = _proven(job)
    watch, stop = _handover([proven] if proven else [])
    return Sheet(
        job_id=job.id,
        vehicle=vehicle(job.vehicle),
        said=job.complaint.said,
        closed=False,
        outcome=_OPEN_PROVEN if proven else _OPEN_UNPROVEN,
        causes=(db.words().cause_name(proven),) if proven else (),
        found=tuple(_found(row) for row in job.findings if row.outcome != "not_done"),
        watch=watch,
        stop=stop,
        leave=leaving_words(),
    )


def _found(row: Finding) -> str:
    changed = "; ".join(filter(None, (response(r) for r in row.responses)))
    text = f"{check_name(row.check)}: {plain(row.outcome)}"
    return f"{text}; {changed}" if changed else text


def _proven(job: Job) -> str | None:
    """Return the leading likely cause where a finding of the job proves it."""
    answers = answers_for(job, top=1)
    first = answers.causes[0].cause if answers else None
    return first if drafted_proofs(job, first, db.words()) else None


def _handover(causes: Sequence[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    rows = dict.fromkeys(row for cause in causes for row in handovers_of(cause, db.words()))
    return tuple(row.watch for row in rows), tuple(row.stop for row in rows)
