"""What was understood of a job: shown as pieces, corrected by one tap, asked back, answered."""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from typing import Final

from flask import Blueprint, redirect, request, url_for
from markupsafe import Markup

from kb.case.clarify import OpenPoint, asked_back, open_point
from kb.case.model import Job
from kb.case.terms import Vocabulary
from kb.errors import ConflictError, KBError, ParseError
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.corrections import Correction, answer, correct, leave, read_lines
from web import chips, db
from web.auth import needs
from web.chips import Chip
from web.forms import hidden_fields
from web.jobs import Page, job_of, job_page
from web.piece_groups import Group, Piece, groups_of
from web.rights import Right
from web.typed import TypedLine, typed_lines

bp = Blueprint("pieces", __name__)
# Pieces that are asked back at a time: each costs some tens of milliseconds (our choice).
MOST_ASKED: Final = 12
_CHIP_FIELDS: Final = hidden_fields("kind", "index", "seen")


@dataclass(frozen=True, slots=True, kw_only=True)
class Understood:
    """What the page says about the typed lines of a job."""

    lines: tuple[TypedLine, ...]
    unread: tuple[str, ...]
    points: tuple[OpenPoint, ...]
    more_points: int
    groups: tuple[Group, ...]

    @property
    def places(self) -> frozenset[str]:
        """Return the names of everything that a message can stand at."""
        pieces = (piece.id for group in self.groups for piece in group.pieces)
        return frozenset((*pieces, *(point.key for point in self.points)))


@bp.app_template_global()
def understood_of(job: Job, settled: Collection[str]) -> Understood:
    """Return the typed lines of a job, what of them is open but not settled, and its pieces."""
    words = db.words()
    read = read_lines(job, words=words)
    asked = asked_back(read, settled)
    return Understood(
        lines=typed_lines(read, job),
        unread=tuple(dict.fromkeys(one.text for row in read for one in row.unread)),
        points=tuple(open_point(one, job, words=words) for one in asked[:MOST_ASKED]),
        more_points=len(asked[MOST_ASKED:]),
        groups=groups_of(job, words),
    )


@bp.app_template_global()
def chip_of(piece: Piece) -> Chip:
    """Return a piece as a chip."""
    return chips.chip_of(piece, db.words())


@bp.app_template_global()
def chip_fields(chip: Chip) -> Markup:
    """Return the hidden fields that name a piece in a form."""
    return _CHIP_FIELDS % (chip.kind, chip.index, chip.seen)


@bp.app_template_global()
def offered_words() -> dict[str, tuple[str, ...]]:
    """Return the trade's words that a field of a piece offers, by the name of their list."""
    words = db.words()
    return {
        "symptom-names": tuple(row.say for row in words.symptoms.values()),
        "condition-names": tuple(row.say for row in words.conditions.values()),
    }


@bp.post("/job/<job_id>/correct")
@needs(Right.WORK)
def correct_piece(job_id: str) -> Page:
    """Put right one thing of one piece."""
    chip = f"{request.form.get('kind', '')}-{request.form.get('index', '')}"

    def write(unit: UnitOfWork) -> None:
        correct(unit, job_id, read_correction(request.form, db.words()), words=db.words())

    return _written(job_id, write, place=chip)


@bp.post("/job/<job_id>/answer")
@needs(Right.WORK)
def answer_point(job_id: str) -> Page:
    """Take an answer to what was asked back, or leave it as it was typed."""
    key, option = request.form.get("point", ""), request.form.get("option")

    def write(unit: UnitOfWork) -> None:
        if option is None:
            leave(unit, job_id, key, words=db.words())
        else:
            answer(unit, job_id, key, option=option, words=db.words())

    return _written(job_id, write, place=key)


def _written(job_id: str, write: Callable[[UnitOfWork], None], *, place: str) -> Page:
    """Write, then show the pieces; what is refused leaves the job and is said at its place."""
    job = job_of(job_id)
    try:
        with db.writing() as unit:
            write(unit)
    except ConflictError as error:
        if job.closing is not None:
            raise
        return _refused(job_id, place, str(error)), 409
    except KBError as error:
        return _refused(job_id, place, str(error)), 400
    return redirect(url_for("jobs.show", job_id=job_id, _anchor="pieces"))


def _refused(job_id: str, place: str, message: str) -> str:
    return job_page(job_of(job_id), {**request.form, "place": place, "piece_error": message})


def read_correction(form: Mapping[str, str], words: Vocabulary) -> Correction:
    """Return the correction that a tap or a field sent: ``change`` is ``what`` or ``what:value``.

    Raises
    ------
    ParseError
        If the number of the piece is none.
    """
    index = form.get("index", "")
    if not (index.isascii() and index.isdigit() and len(index) < 7):
        raise ParseError(f"expected the number of a piece, got '{index[:20]}'", text=index)
    what, tapped, value = form.get("change", "").partition(":")
    if not tapped:
        value = _key_of(what, form.get("value", ""), words)
    return Correction(
        kind=form.get("kind", ""),
        index=int(index),
        what=what,
        value=value,
        seen=form.get("seen", ""),
    )


def _key_of(what: str, said: str, words: Vocabulary) -> str:
    """Return the key of what was typed into a field as the trade says it."""
    plain = said.strip().lower()
    if what == "concept":
        return next((row.key for row in words.symptoms.values() if row.say.lower() == plain), said)
    if what in {"when", "never"}:
        known = words.conditions.values()
        spelled = (row.key for row in known if plain in (row.say.lower(), *row.also))
        return next(spelled, said)
    return said
