"""A job closed by its invoice number: the same number twice makes one case."""

from dataclasses import replace

from flask import Blueprint, Response

from kb.case.model import AfterCheck, Job, Option, Phase, Proof, ReadingSet
from kb.case.parts import FittedPart, plain
from kb.errors import FieldsError, NotFoundError
from kb.store.answers import ShownAnswer
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.answers_at_close import shown_at_close
from kb.workflow.close import CloseAnswers, close_job, good_until
from kb.workflow.declined import NO_REPAIR
from kb.workflow.tokens import Scope
from web import db
from web.api.asked import ClosingAsked
from web.api.jobs import read_readings
from web.api.once import once
from web.api.operation import Answer, Operation, operation
from web.api.told import Written

bp = Blueprint("closings", __name__)


@bp.post("/closings")
@operation(
    Operation(scope=Scope.CLOSE, body=ClosingAsked, gives={201: Written, 200: Written}, keyed=True)
)
def close(body: ClosingAsked) -> Response:
    """Close the job of an invoice number; one that it closed before is told again, unchanged."""
    with db.store().read() as unit:
        job = _job_of(unit, body)
    shown = shown_at_close(db.memory().as_fitted(), job)
    return once(body, lambda unit: _closed(unit, body, shown), natural=True)


def _job_of(unit: UnitOfWork, body: ClosingAsked) -> Job:
    """Return the job to close: the one that is named, else the one of the invoice number."""
    if body.job is not None:
        return unit.jobs.get(body.job)
    found = unit.jobs.by_invoice(body.invoice)
    if found is None:
        raise NotFoundError(
            f"expected the invoice number of a job, got '{body.invoice}', which none has; name the "
            "job too"
        )
    return found


def _closed(unit: UnitOfWork, body: ClosingAsked, shown: ShownAnswer | None) -> Answer:
    before = _job_of(unit, body)
    words, today = db.words(), db.today()
    new = before.closing is None
    # What a closed job was closed with stands; what this body says of it is not looked at.
    answers = _answers(unit, body, before) if new else CloseAnswers()
    job = close_job(unit, before.id, answers, words=words, today=today, invoice=body.invoice)
    if new:
        unit.answers.keep(job.id, shown)
    told = Written(job=job.id, state=job.state, revision=unit.jobs.revision(job.id), new=new)
    return Answer(body=told, status=201 if new else 200)


def _answers(unit: UnitOfWork, body: ClosingAsked, job: Job) -> CloseAnswers:
    photos = {row.content_hash for row in unit.photos.of(job.id)}
    if errors := _errors(body, photos):
        raise FieldsError(errors)
    typed = body.until.isoformat() if body.until else ""
    return CloseAnswers(
        end=body.end,
        cause=body.cause,
        second_cause=body.second_cause,
        proofs=[Proof(**row.model_dump()) for row in body.proofs],
        fix=body.fix,
        fix_text=body.fix_text,
        parts=[_part(row.part, row.supplier, row.lot) for row in body.parts],
        until=good_until(typed, today=db.today(), end=body.end, fix=body.fix),
        options=[Option(**row.model_dump()) for row in body.options],
        after_checks=[AfterCheck(**row.model_dump()) for row in body.after_checks],
        lesson=body.lesson,
        after=_after(body),
        told=body.told,
        comeback_of=body.comeback_of,
    )


def _part(part: str, supplier: str | None, lot: str | None) -> FittedPart:
    return FittedPart(
        part=plain(part), supplier=plain(supplier or "") or None, lot=plain(lot or "") or None
    )


def _after(body: ClosingAsked) -> tuple[ReadingSet, ...]:
    if not body.after:
        return ()
    return (replace(read_readings(body.after, "after"), phase=Phase.AFTER),)


def _errors(body: ClosingAsked, photos: set[str]) -> dict[str, str]:
    """Return what the close page refuses too, by place."""
    errors = {}
    if body.end == "fixed" and body.fix in NO_REPAIR:
        errors["end"] = (
            "expected another end than fixed: a work-around or a declined repair is no repair"
        )
    if body.second_cause and body.second_cause == body.cause:
        errors["second_cause"] = "expected another cause than the first, got the same one"
    for number, row in enumerate(body.proofs):
        if row.photo is not None and row.photo not in photos:
            errors[f"proofs.{number}.photo"] = "expected a photo of this job, got another"
    for number, part in enumerate(body.parts):
        if not plain(part.part):
            errors[f"parts.{number}.part"] = "expected which part it is, got nothing"
    if sum(row.chosen for row in body.options) > 1:
        errors["options"] = "expected one choice of the customer, got several"
    return errors
