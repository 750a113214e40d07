"""The parts of Today and of an open job's page that are kept, and what each of them follows from."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from flask import Blueprint, request
from markupsafe import Markup

from kb.case.model import Job
from kb.store.notes import Note
from kb.workflow.suggest import Suggestion, without_waiting
from web import db
from web.auth import person
from web.entries import same_car
from web.entry_fields import usual_readings, usual_system
from web.filters import vehicle
from web.jobs import days_words, waits_for
from web.kept_parts import Place, kept_part
from web.rights import Right

bp = Blueprint("job_parts", __name__)

# Earlier jobs of the same car that its page lists.
_MOST_EARLIER: Final = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class _OpenJob:
    """What Today says of an open job."""

    id: str
    vehicle: str
    said: str
    state: str
    waits_for: str
    since: str

    @classmethod
    def of(cls, job: Job, today: date) -> "_OpenJob":
        """Return what is said of ``job`` on a day."""
        return cls(
            id=job.id,
            vehicle=vehicle(job.vehicle),
            said=job.complaint.said or next(iter(job.lines), "") or "nothing written down",
            state=job.state,
            waits_for=waits_for(job),
            since=days_words(job.opened, today),
        )


@bp.app_template_global()
def kept_open_jobs(jobs: Sequence[Job], today: date) -> Markup:
    """Return the list of the open jobs."""

    def values() -> dict[str, Any]:
        return {"rows": [_OpenJob.of(job, today) for job in jobs]}

    place = Place(name="open jobs", follows=None)
    return kept_part("_open_jobs.html", (tuple(jobs), today), values, place=place)


def _place(job: Job, revision: int | None = None) -> Place:
    name = (job.id, person().may(Right.WORK))
    return Place(name=name, follows=db.words().shop.mark, revision=revision)


def _is_whole(answers: Suggestion | None) -> bool:
    """Say whether every part of the memory answered; what is drawn of others is not kept."""
    return answers is None or not answers.missing


@bp.app_template_global()
def kept_answers(
    job: Job, answers: Suggestion | None, *, notes: tuple[Note, ...], fitted: Hashable
) -> Markup:
    """Return the answers of an open job where no form was refused."""
    place = _place(job)
    shown = (without_waiting(job), fitted, answers and answers.guess, notes, place.follows)
    values: dict[str, Any] = {"job": job, "answers": answers, "notes": notes, "typed": {}}
    return kept_part("_answers.html", shown, lambda: values, place=place, keeps=_is_whole(answers))


@bp.app_template_global()
def kept_pieces(job: Job, settled: frozenset[str], revision: int) -> Markup:
    """Return what was understood of a job where no form was refused."""
    place = _place(job, revision)
    values: dict[str, Any] = {"job": job, "settled": settled, "typed": {}}
    shown = (without_waiting(job), settled, place.follows)
    return kept_part("_pieces.html", shown, lambda: values, place=place)


@bp.app_template_global()
def kept_entry(job: Job, answers: Suggestion | None, revision: int) -> Markup:
    """Return the forms that write without a sentence where none was refused."""
    place, earlier = _place(job, revision), same_car(job)
    asked = bool(request.args.get("system"))
    said = (job.comeback_of, job.complaint, answers is None)
    usual = (usual_system(job, answers), job.reading_sets)
    before = tuple(map(_shown_before, earlier[:_MOST_EARLIER]))
    shown = (usual, before, asked, said, place.follows)

    def values() -> dict[str, Any]:
        return {
            "job": job,
            "answers": answers,
            "typed": {},
            "usual": usual_readings(job, answers),
            "earlier": earlier,
        }

    return kept_part("_entry.html", shown, values, place=place)


def _shown_before(row: Job) -> Hashable:
    """Return what the page of a car's later job shows of an earlier one, which may be open too."""
    said = (row.complaint.said, row.lines[:1])
    return (row.id, row.opened, said, row.cause, row.state, row.closing is None)


@bp.app_template_global()
def kept_strips(job: Job, answers: Suggestion | None, fitted: Hashable) -> Markup:
    """Return the readings of an open job as its page draws them."""
    place = _place(job)
    values: dict[str, Any] = {"job": job, "answers": answers}
    shown = (without_waiting(job), fitted, place.follows)
    return kept_part("_strips.html", shown, lambda: values, place=place, keeps=_is_whole(answers))


@bp.app_template_global()
def kept_car(job: Job, revision: int) -> Markup:
    """Return the forms for the vehicle and for what a job waits for where none was refused."""
    place = _place(job, revision)
    return kept_part(
        "_car.html", (job.vehicle, job.waits_for), lambda: {"job": job, "typed": {}}, place=place
    )
