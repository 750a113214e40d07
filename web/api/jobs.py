"""Jobs for programs: open one, read it, add what was heard, seen and measured."""

from collections.abc import Callable
from dataclasses import replace

from flask import Blueprint, Response, request, url_for

from kb.case.meant_now import with_family
from kb.case.model import Code, Finding, Job, ReadingSet, Vehicle
from kb.case.parse import parse_again
from kb.case.place_text import place_text
from kb.case.standing import standing_of
from kb.case.vin import clean_vin
from kb.errors import FieldsError, ParseError, UnknownTermError
from kb.store.photo_files import FORMATS, StoredPhoto, keep_photo, read_photo
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.entries import (
    TypedReading,
    add_clean_scan,
    add_codes,
    add_finding,
    add_readings,
    read_typed,
)
from kb.workflow.jobs import Entry, Intake, add_text, draft_job, open_job, vehicle_line
from kb.workflow.tokens import Scope
from web import db
from web.api.asked import (
    AnswersQuery,
    CodesAsked,
    FindingAsked,
    JobAsked,
    JobsQuery,
    PhotoQuery,
    ReadingAsked,
    ReadingsAsked,
    TextAsked,
    VehicleAsked,
)
from web.api.job_told import JobLine, JobList, JobTold, PhotoTold, WholeJob
from web.api.once import once
from web.api.operation import Answer, Operation, operation
from web.api.problems import RefusedError
from web.api.told import Answers, AskedTold, PhotoWritten, Written
from web.jobs import answers_for, job_of
from web.photos import photo_folder
from web.report import answer_json, asked_json

bp = Blueprint("jobs", __name__)
# Bytes of one photo: a phone's largest (our choice).
MAX_PHOTO_BYTES = 10_000_000
PICTURES = tuple(f"image/{kind.lower()}" for kind in FORMATS)


# --- reading -------------------------------------------------------------------------------------


@bp.get("/jobs")
@operation(Operation(scope=Scope.READ, query=JobsQuery, gives={200: JobList}))
def list_jobs(query: JobsQuery) -> Answer:
    """List the jobs that are not closed, or the job of an invoice number."""
    with db.store().read() as unit:
        if query.invoice is None:
            found = list(unit.jobs.open_jobs())
        else:
            found = [job for job in [unit.jobs.by_invoice(query.invoice)] if job]
    rows = sorted(found, key=lambda job: (job.opened, job.id))
    return Answer(body=JobList(jobs=tuple(map(_line, rows))))


def _line(job: Job) -> JobLine:
    return JobLine(
        job=job.id,
        state=job.state,
        opened=job.opened,
        invoice=job.invoice,
        vehicle=vehicle_line(job.vehicle),
        waits_for=job.waits_for,
        cause=job.cause,
    )


@bp.get("/jobs/<job_id>")
@operation(Operation(scope=Scope.READ, gives={200: WholeJob}))
def show_job(job_id: str) -> Answer:
    """Tell a job, open or closed, with its photos."""
    with db.store().read() as unit:
        job = unit.jobs.get(job_id)
        revision, photos = unit.jobs.revision(job_id), unit.photos.of(job_id)
    told = WholeJob(
        job=JobTold.model_validate(job),
        revision=revision,
        standing=standing_of(job) if job.closing else None,
        photos=tuple(PhotoTold.model_validate(row) for row in photos),
    )
    return Answer(body=told)


@bp.get("/jobs/<job_id>/answers")
@operation(Operation(scope=Scope.READ, query=AnswersQuery, gives={200: Answers}))
def answer_job(job_id: str, query: AnswersQuery) -> Answer:
    """Tell prior cases, likely causes and the next check for a job as it stands."""
    job = job_of(job_id)
    typed = draft_job("\n".join(job.lines), words=db.words(), today=job.opened).parsed
    found = answers_for(job, top=query.top)
    return Answer(body=Answers.model_validate(answer_json(typed, found)))


@bp.get("/photos/<photo>")
@operation(Operation(scope=Scope.READ, gives={200: None}, picture=True))
def show_photo(photo: str) -> Response:
    """Tell the bytes of a photo; under one hash they never change."""
    with db.store().read() as unit:
        stored = unit.photos.get(photo)
    return Response(read_photo(photo_folder(), photo), mimetype=stored.media_type)


# --- writing -------------------------------------------------------------------------------------


def _written(unit: UnitOfWork, job: Job, *, new: bool = True, status: int = 201) -> Answer:
    told = Written(job=job.id, state=job.state, revision=unit.jobs.revision(job.id), new=new)
    return Answer(body=told, status=status)


def _of_entry(unit: UnitOfWork, entry: Entry) -> Answer:
    answer = _written(unit, entry.job)
    told = answer.body.model_copy(update={"asked": AskedTold(**asked_json(entry.parsed))})
    return replace(answer, body=told)


@bp.post("/jobs")
@operation(
    Operation(scope=Scope.WORK, body=JobAsked, gives={201: Written, 200: Written}, keyed=True)
)
def open_new(body: JobAsked) -> Response:
    """Open a job; with an invoice number that is known, tell that job and write nothing."""
    words = db.words()
    # Read before anybody has to wait for this write.
    parsed = parse_again(body.text, words=words)

    def write(unit: UnitOfWork) -> Answer:
        known = unit.jobs.by_invoice(body.invoice) if body.invoice else None
        if known is not None:
            return _written(unit, known, new=False, status=200)
        intake = Intake(
            text=body.text,
            said=body.said,
            vehicle=_vehicle(body.vehicle),
            invoice=body.invoice,
            comeback_of=body.comeback_of,
        )
        entry = open_job(unit, intake, words=words, today=db.today(), parsed=parsed)
        where = {"Location": url_for("api.jobs.show_job", job_id=entry.job.id)}
        return replace(_of_entry(unit, entry), headers=where)

    return once(body, write, natural=body.invoice is not None)


def _vehicle(asked: VehicleAsked | None) -> Vehicle | None:
    if asked is None:
        return None
    unit = (asked.odometer_unit or "mi") if asked.odometer is not None else None
    plain = ("year", "make", "model", "engine", "transmission", "refrigerant")
    given = {name: getattr(asked, name) or None for name in plain}
    return with_family(
        Vehicle(
            **given,
            vin=clean_vin(asked.vin or "") or None,
            odometer=None if asked.odometer is None else float(asked.odometer),
            odometer_unit=unit,
        ),
        db.words(),
    )


@bp.post("/jobs/<job_id>/texts")
@operation(Operation(scope=Scope.WORK, body=TextAsked, gives={201: Written}, keyed=True))
def add_typed(job_id: str, body: TextAsked) -> Response:
    """Add a text to an open job, read as if it had been typed on its page."""
    words = db.words()
    parsed = parse_again(body.text, words=words)

    def write(unit: UnitOfWork) -> Answer:
        return _of_entry(unit, add_text(unit, job_id, body.text, words=words, parsed=parsed))

    return once(body, write)


def read_readings(rows: tuple[ReadingAsked, ...], at: str) -> ReadingSet:
    """Return readings as one set.

    Raises
    ------
    FieldsError
        Naming each that cannot be read, as a place of the list ``at``.
    """
    errors: dict[str, str] = {}
    typed = {}
    for number, row in enumerate(rows):
        name = f"{at}.{number}"
        try:
            db.words().quantity(row.quantity)
            place = place_text(row.position or "")
        except (UnknownTermError, ParseError) as error:
            errors[name] = str(error)
            continue
        value = row.value if isinstance(row.value, str) else f"{row.value:.10g}"
        typed[name] = TypedReading(quantity=row.quantity, text=value, unit=row.unit, position=place)
    readings, wrong = read_typed(typed, words=db.words())
    if errors := errors | wrong:
        raise FieldsError(errors)
    return ReadingSet(readings=readings)


@bp.post("/jobs/<job_id>/readings")
@operation(Operation(scope=Scope.WORK, body=ReadingsAsked, gives={201: Written}, keyed=True))
def add_measured(job_id: str, body: ReadingsAsked) -> Response:
    """Add readings that were taken under the same conditions to an open job."""
    known = {key for row in db.words().baselines.values() for key in row.conditions}
    if unknown := [key for key in body.state if key not in known]:
        raise FieldsError(
            {"state": f"expected one of {', '.join(sorted(known))}, got '{unknown[0]}'"}
        )
    group = read_readings(body.readings, "readings")
    group = replace(group, phase=body.phase, state=body.state)
    return _once_added(body, lambda unit: add_readings(unit, job_id, group))


def _once_added(
    body: FindingAsked | CodesAsked | ReadingsAsked, add: Callable[[UnitOfWork], Job]
) -> Response:
    return once(body, lambda unit: _written(unit, add(unit)))


@bp.post("/jobs/<job_id>/findings")
@operation(Operation(scope=Scope.WORK, body=FindingAsked, gives={201: Written}, keyed=True))
def add_found(job_id: str, body: FindingAsked) -> Response:
    """Add a check with its outcome to an open job."""
    row = Finding(**body.model_dump())
    return _once_added(body, lambda unit: add_finding(unit, job_id, row, words=db.words()))


@bp.post("/jobs/<job_id>/codes")
@operation(Operation(scope=Scope.WORK, body=CodesAsked, gives={201: Written}, keyed=True))
def add_scanned(job_id: str, body: CodesAsked) -> Response:
    """Add trouble codes to an open job, or that modules were asked and had none."""
    if body.codes:
        rows = [Code(**row.model_dump()) for row in body.codes]
        return _once_added(body, lambda unit: add_codes(unit, job_id, rows))
    modules = ", ".join(body.modules)
    return _once_added(body, lambda unit: add_clean_scan(unit, job_id, modules))


@bp.post("/jobs/<job_id>/photos")
@operation(
    Operation(
        scope=Scope.WORK, query=PhotoQuery, gives={201: PhotoWritten}, keyed=True, picture=True
    )
)
def add_photo(job_id: str, query: PhotoQuery) -> Response:
    """Add a photo to a job; it is kept without where and by whom it was taken."""
    if request.mimetype not in PICTURES:
        raise RefusedError(
            415,
            f"expected a picture as {', '.join(PICTURES)}, got '{request.mimetype[:60]}'",
            headers={"Accept": ", ".join(PICTURES)},
        )
    job_of(job_id)
    stored = keep_photo(photo_folder(), request.get_data(cache=False))
    said = f"{stored.content_hash} {query.caption}"
    return once(said, lambda unit: _with_photo(unit, job_id, stored, caption=query.caption))


def _with_photo(unit: UnitOfWork, job_id: str, stored: StoredPhoto, *, caption: str) -> Answer:
    unit.photos.add(job_id, stored, caption)
    told = PhotoWritten(job=job_id, photo=stored.content_hash, caption=caption)
    where = {"Location": url_for("api.jobs.show_photo", photo=stored.content_hash)}
    return Answer(body=told, status=201, headers=where)
