"""The answers while somebody types: parts of a page, nothing is stored."""

from dataclasses import dataclass

from flask import Blueprint, render_template, request

from kb.case.model import Job
from kb.case.parse import Parsed
from kb.errors import KBError, NotFoundError, ParseError
from kb.workflow.jobs import draft_job, merge_text, open_job_of, read_vehicle
from web import db
from web.auth import needs
from web.jobs import answers_for
from web.notes import notes_of
from web.rights import Right

bp = Blueprint("live", __name__)
# As long as an address may be for every server between (our choice).
_MAX_LIVE: int = 4000
_TOP_JOB, _TOP_FIND = 6, 8


@dataclass(frozen=True, slots=True, kw_only=True)
class _Asked:
    """A job as it would be, and what was read from the text in the box, if any stands there.

    ``of`` is the open job that is asked for; without it there is nothing to tap outcomes into.
    """

    job: Job
    parsed: Parsed | None
    of: Job | None = None


def _text() -> str:
    text = request.args.get("text", request.args.get("q", ""))
    if len(text) > _MAX_LIVE:
        raise ParseError(
            f"expected at most {_MAX_LIVE} characters, got {len(text)}; add it in parts"
        )
    if "\0" in text + request.args.get("vehicle", ""):
        raise ParseError("expected words and numbers, got a sign that cannot be stored")
    return text


@bp.get("/job/<job_id>/answers")
@needs(Right.SEE)
def job(job_id: str) -> tuple[str, int]:
    """Answer for a job as it would be with the text in the box added."""
    try:
        # All that is asked for one answer is read as of one moment.
        with db.store().read():
            return _fragment(_job_with(job_id, _text()), top=_TOP_JOB), 200
    except NotFoundError as error:
        return _refusal(error), 404
    except KBError as error:
        return _refusal(error), 400


@bp.get("/answers")
@needs(Right.SEE)
def question() -> tuple[str, int]:
    """Answer for the text in the box of Today and Find."""
    try:
        text, vehicle = _text(), request.args.get("vehicle", "")[:200]
        car = read_vehicle(vehicle) if vehicle.strip() else None
        with db.store().read():
            entry = draft_job(text, words=db.words(), vehicle=car, today=db.today())
            asked = _Asked(job=entry.job, parsed=entry.parsed if text.strip() else None)
            return _fragment(asked, top=_TOP_FIND), 200
    except KBError as error:
        return _refusal(error), 400


def _job_with(job_id: str, text: str) -> _Asked:
    with db.store().read() as unit:
        found = open_job_of(unit, job_id)
    if not text.strip():
        return _Asked(job=found, parsed=None, of=found)
    parsed = draft_job(text, words=db.words(), today=found.opened).parsed
    return _Asked(job=merge_text(found, text, parsed), parsed=parsed, of=found)


def _fragment(asked: _Asked, *, top: int) -> str:
    nothing = not any(line.strip() for line in asked.job.lines)
    answers = None if nothing else answers_for(asked.job, top=top)
    known = {} if asked.of is None else {"job": asked.of, "typed": {}}
    return render_template(
        "_live.html",
        parsed=asked.parsed,
        answers=answers,
        notes=() if nothing else notes_of(asked.job, answers),
        nothing=nothing,
        **known,
    )


def _refusal(error: KBError) -> str:
    return render_template("_live.html", parsed=None, answers=None, error=str(error))
