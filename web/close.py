"""The close page: four questions, filled from the job, and how the case will stand."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from zlib import crc32

from flask import Blueprint, redirect, render_template, request, url_for

from kb.case.handover import dangers_of
from kb.case.model import FixKind, Job
from kb.case.retake import as_found
from kb.case.terms import Vocabulary
from kb.errors import (
    ConflictError,
    NotProvenError,
    TermError,
    UnknownTermError,
)
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.answers_at_close import shown_at_close
from kb.workflow.close import CloseAnswers, close_job
from kb.workflow.close_draft import drafted_proofs, usual_choices
from kb.workflow.entries import earlier_jobs
from kb.workflow.undo import as_closed_before
from kb.workflow.words import add_cause, words_of
from web import db
from web.auth import needs, person
from web.close_again import fields_again, option_fields
from web.close_form import MOST_OPTIONS, PROOFS, read_close_form
from web.close_parts import PART_ROWS, part_words
from web.close_words import finding_words, preview
from web.db import FORM_ID
from web.jobs import Page, answers_for, job_of
from web.rights import Right
from web.wording import amount, state_words

bp = Blueprint("close", __name__)

# Likely causes that stand as large choices; all others are in the list below them (our choice).
_MOST_LIKELY = 6
# Rows of choices that the page shows before any is filled.
_LEAST_OPTIONS = 3
# Field of the close page and its message, by what is missing.
_MISSING = {
    "cause": ("cause", "expected what was wrong, got nothing; choose the cause"),
    "proof": ("method", "expected how it was proven, got nothing; choose the method"),
}
# Field of the close page by the field of a cause that the shop adds.
_TERM_FIELDS = {"name": "new_cause", "system": "new_system"}
_PROOF_FIELDS = ("method", "proof_text")
# Buttons of the form that show something and write nothing.
_SHOWN = frozenset({"usual", "look"})
_NOT_CLOSED = "Not closed yet; what is missing is marked below, everything typed is still there."

Typed = Mapping[str, str]
# Causes with their chances.
Likely = Sequence[tuple[str, float]]


def photos_of(unit: UnitOfWork, job_id: str) -> list[tuple[str, str]]:
    """Return content hash and caption of a job's photos."""
    return [(row.content_hash, row.caption) for row in unit.photos.of(job_id)]


def _likely(job: Job) -> Likely:
    """Return the likely causes with their chances, those with a proof on the job among them."""
    answers = answers_for(job)
    named = [(row.cause, row.chance) for row in answers.causes if row.cause] if answers else []
    proved = [row for row in named[_MOST_LIKELY:] if drafted_proofs(job, row[0], db.words())]
    return [*named[:_MOST_LIKELY], *proved[:2]]


def _drafted(job: Job, cause: str) -> dict[str, str]:
    """Return the fields of the proofs that the job's own findings give for a cause."""
    typed = {}
    for end, row in zip(PROOFS, drafted_proofs(job, cause, db.words()), strict=False):
        typed[f"method{end}"] = row.method or ""
        typed[f"proof_text{end}"] = finding_words(job, row.finding, db.words())
    return typed


def _prefilled(job: Job, likely: Likely) -> dict[str, str]:
    """Return the fields as the job fills them; the cause only where a finding proves it.

    A job that was closed and reopened is asked nothing again.
    """
    with db.store().read() as unit:
        closed = as_closed_before(unit, job.id, words=db.words())
    if closed is not None:
        return fields_again(closed)
    typed = {"invoice": job.invoice or "", "comeback_of": job.comeback_of or ""}
    if likely and (proofs := _drafted(job, likely[0][0])):
        typed |= proofs | {"cause": likely[0][0]}
    return typed


def _with_usual(job: Job, typed: Typed, cause: str | None) -> dict[str, str]:
    """Return the fields with the usual choices of the cause, and its proofs, where none are."""
    filled = dict(typed)
    if cause and not any(typed.get(f"{name}{end}") for end in PROOFS for name in _PROOF_FIELDS):
        filled |= _drafted(job, cause)
    with db.store().read() as unit:
        options = usual_choices(unit, cause, db.words())
    empty = [n for n in range(1, MOST_OPTIONS + 1) if not typed.get(f"option_{n}", "").strip()]
    said = {typed.get(f"option_{n}", "").strip() for n in range(1, MOST_OPTIONS + 1)}
    fresh = [row for row in options if row.what not in said]
    for n, option in zip(empty, fresh, strict=False):
        filled |= option_fields(n, option)
    return filled


def _earlier(unit: UnitOfWork, job: Job) -> list[Job]:
    """Return the other jobs of the same car, and the one that this is said to be a comeback of."""
    rows = list(earlier_jobs(unit, job))
    if job.comeback_of and job.comeback_of not in {row.id for row in rows}:
        rows.append(unit.jobs.get(job.comeback_of))
    return sorted(rows, key=lambda row: row.id)


def _page(
    job: Job,
    typed: Typed,
    errors: Mapping[str, str],
    *,
    answers: CloseAnswers,
    sure: bool = False,
    likely: Likely | None = None,
) -> str:
    filled = [n for n in range(1, MOST_OPTIONS + 1) if typed.get(f"option_{n}", "").strip()]
    rows = min(MOST_OPTIONS, max(_LEAST_OPTIONS, max(filled, default=0) + 1))
    with db.store().read() as unit:
        earlier, photos = _earlier(unit, job), photos_of(unit, job.id)
        suppliers = unit.suppliers.newest()
    return render_template(
        "close.html",
        job=job,
        typed=typed,
        errors=errors,
        likely=[
            (key, chance, [finding_words(job, row.finding, db.words()) for row in proofs])
            for key, chance in (_likely(job) if likely is None else likely)
            for proofs in [drafted_proofs(job, key, db.words())]
        ],
        words=db.words(),
        fixes=list(FixKind),
        found=as_found(job),
        option_rows=range(1, rows + 1),
        part_rows=PART_ROWS,
        suppliers=suppliers,
        today=db.today(),
        earlier=earlier,
        photos=photos,
        form_id=_kept_form_id(typed),
        sure=sure,
        draft=_draft(job, typed),
        dangers=dangers_of(answers.cause, db.words()),
        preview=preview(job, answers, words=db.words(), today=db.today()),
    )


def _kept_form_id(typed: Typed) -> str | None:
    """Return the number of a form that is shown again unsent: nothing was written under it."""
    known = typed.get("form_id", "")
    return known if typed.get("action") in _SHOWN and FORM_ID.fullmatch(known) else None


def _draft(job: Job, typed: Typed) -> str:
    """Return the name of the browser's draft; filled in anew, an older draft must not fill it."""
    if typed.get("action") not in _SHOWN:
        return f"close-{job.id}"
    shown = "|".join(f"{name}={value}" for name, value in sorted(typed.items()))
    return f"close-{job.id}-{crc32(shown.encode()):08x}"


def _read(job: Job, typed: Typed) -> tuple[CloseAnswers, dict[str, str]]:
    with db.store().read() as unit:
        hashes = {key for key, _ in photos_of(unit, job.id)}
    answers, errors = read_close_form(typed, job, db.words(), today=db.today(), photos=hashes)
    return answers, dict(errors.by_field)


@bp.get("/job/<job_id>/close")
@needs(Right.CLOSE)
def form(job_id: str) -> Page:
    """Ask the four questions, filled from the job."""
    job = job_of(job_id)
    if job.closing is not None:
        return redirect(url_for("cases.show", case_id=job_id))
    likely = _likely(job)
    typed = _prefilled(job, likely)
    answers, _ = _read(job, typed)
    return _page(job, typed, {}, answers=answers, likely=likely)


@bp.post("/job/<job_id>/close")
@needs(Right.CLOSE)
def send(job_id: str) -> Page:
    """Close a job; what is missing is asked again with everything typed kept.

    With ``action`` "usual" the usual choices are filled in, with "look" it is shown how the case
    would stand; neither writes anything.
    """
    job, typed = job_of(job_id), request.form.to_dict()
    answers, errors = _read(job, typed)
    if typed.get("action") in _SHOWN and job.closing is None:
        if typed["action"] == "usual":
            typed = _with_usual(job, typed, answers.cause)
            answers, errors = _read(job, typed)
        return _page(job, typed, errors, answers=answers)
    if errors and job.closing is None:
        return _page(job, typed, {"": _NOT_CLOSED, **errors}, answers=answers), 400
    return _close(job, typed, answers)


def _with_new_cause(
    unit: UnitOfWork, typed: Typed, answers: CloseAnswers
) -> tuple[CloseAnswers, Vocabulary]:
    """Add the cause that was named on this page, if one was, and answer with it."""
    name = typed.get("new_cause", "").strip()
    if not name or typed.get("other_cause"):
        return answers, db.words()
    if not person().may(Right.TEACH):
        raise TermError(
            {"name": "expected somebody who may add words, got another role; ask the foreman"}
        )
    key = add_cause(unit, name, system=typed.get("new_system", ""), sure=typed.get("sure") == "yes")
    return replace(answers, cause=key), words_of(unit)


def _close(job: Job, typed: Typed, answers: CloseAnswers) -> Page:
    invoice = typed.get("invoice", "").strip() or None
    shown = shown_at_close(db.memory().as_fitted(), job)
    try:
        with db.writing() as unit:
            answers, words = _with_new_cause(unit, typed, answers)
            close_job(unit, job.id, answers, words=words, today=db.today(), invoice=invoice)
            if job.closing is None:
                unit.answers.keep(job.id, shown)
    except TermError as error:
        fields = {_TERM_FIELDS.get(name, ""): text for name, text in error.by_field.items()}
        page = _page(
            job, typed, {"": _NOT_CLOSED, **fields}, answers=answers, sure=bool(error.like)
        )
        return page, 400
    except NotProvenError as error:
        marked = dict(_MISSING[field] for field in error.missing)
        return _page(job, typed, {**marked, "": _NOT_CLOSED}, answers=answers), 400
    except UnknownTermError as error:
        return _page(job, typed, {"": str(error)}, answers=answers), 400
    except ConflictError as error:
        return _page(job, typed, {"": str(error)}, answers=answers), 409
    return redirect(url_for("cases.show", case_id=job.id))


@bp.app_template_filter()
def states(keys: tuple[str, ...]) -> str:
    """Return the state of a reading set in words."""
    return ", ".join(state_words(key, db.words()) for key in keys)


bp.add_app_template_filter(part_words)


@bp.app_template_filter()
def unit_name(key: str) -> str:
    """Return a unit as a technician writes it."""
    return amount("", key).strip()
