"""Put right what was understood of an open job, and answer what was asked back."""

from dataclasses import dataclass, replace
from hashlib import sha256
from typing import Any, Final

from kb.case.amend import CHANGES, piece_at, set_outcome
from kb.case.clarify import Asked, Gain, asked_back, open_point
from kb.case.model import Job
from kb.case.parse import Parsed, parse_again
from kb.case.terms import Vocabulary
from kb.errors import ConflictError, NotFoundError, UnknownTermError
from kb.store.journal import HistoryLine
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.jobs import open_job_of

# Verbs of the lines of history that settle a piece; what was said follows the piece.
_SETTLING: Final = ("answer", "leave")
_SAYS: Final = " = "


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """What of a piece becomes what: ``unit`` and ``kPa``, ``phase`` and ``after``, ``out``.

    ``kind`` and ``index`` name the piece as ``kb.case.parse.Piece`` does, counted through the job;
    ``seen`` is its mark when it was shown (see ``mark_of``), empty where nobody can have come
    between.
    """

    kind: str
    index: int
    what: str
    value: str = ""
    seen: str = ""


def mark_of(piece: Any) -> str:
    """Return what tells a piece from any other, so that a late tap changes none but its own."""
    if isinstance(piece, tuple):
        # Other readings of the set may have come or gone.
        group, reading = piece
        piece = (group.phase, group.state, reading)
    return sha256(repr(piece).encode()).hexdigest()[:12]


def read_lines(job: Job, *, words: Vocabulary) -> tuple[Parsed, ...]:
    """Return what each typed line of a job says, read by itself as it was when it came."""
    return tuple(parse_again(line, words=words) for line in job.lines)


def corrected(job: Job, correction: Correction, *, words: Vocabulary) -> Job:
    """Return the job with one thing of one piece put right; what was typed stays.

    Raises
    ------
    UnknownTermError
        If there is no such kind of piece, nothing of that name to change, or no such word.
    NotFoundError
        If the job has no such piece.
    ConflictError
        If another piece stands there by now.
    KBError
        If the value does not fit: see ``kb.case.amend`` and ``kb.case.amend_readings``.
    """
    piece = piece_at(job, correction.kind, correction.index)
    if correction.seen and correction.seen != mark_of(piece):
        raise ConflictError(
            "expected the piece as it was shown, got another in its place; look at it again"
        )
    known = CHANGES[correction.kind]
    if correction.what not in known:
        raise UnknownTermError(
            f"expected one of {', '.join(known)} of a {correction.kind}, got '{correction.what[:20]}'"
        )
    return known[correction.what](job, correction.index, correction.value, words=words)


def correct(unit: UnitOfWork, job_id: str, correction: Correction, *, words: Vocabulary) -> Job:
    """Put right one thing of one piece of an open job; nothing is written where nothing changes.

    Raises
    ------
    KBError
        See ``corrected``; ConflictError also where the job is closed.
    """
    before = open_job_of(unit, job_id)
    job = corrected(before, correction, words=words)
    if job != before:
        said = _piece_text(piece_at(before, correction.kind, correction.index))
        what = f"{said}: {correction.what} {correction.value}".strip()
        unit.jobs.save(job, verb="correct", what=what)
    return job


def _piece_text(piece: Any) -> str:
    if isinstance(piece, tuple):
        reading = piece[1]
        return f"{reading.quantity} {reading.typed} {reading.unit}"
    for name in ("text", "check", "code", "part", "quantity", "change"):
        if getattr(piece, name, None):
            return str(getattr(piece, name))
    return "scan"


# --- what was asked back -------------------------------------------------------------------------


def answer(unit: UnitOfWork, job_id: str, key: str, *, option: str, words: Vocabulary) -> Job:
    """Make what an answer says part of an open job; the piece is not asked back again.

    Raises
    ------
    NotFoundError
        If no piece of that key is open.
    UnknownTermError
        If ``option`` is none of its answers.
    """
    job = open_job_of(unit, job_id)
    asked = _asked_back(unit, job, key, words=words)
    gains = dict(open_point(asked, job, words=words).answers)
    if option not in gains:
        raise UnknownTermError(
            f"expected one of {', '.join(gains) or 'no answer, say it again'}, got '{option[:40]}'"
        )
    job = _with_gain(job, gains[option], words)
    unit.jobs.save(job, verb="answer", what=f"{key}{_SAYS}{option}")
    unit.settled.add(job_id, key)
    return job


def leave(unit: UnitOfWork, job_id: str, key: str, *, words: Vocabulary) -> Job:
    """Leave a piece as it was typed; it is not asked back again.

    Raises
    ------
    NotFoundError
        If no piece of that key is open.
    """
    job = open_job_of(unit, job_id)
    _asked_back(unit, job, key, words=words)
    unit.jobs.save(job, verb="leave", what=f"{key}{_SAYS}as typed")
    unit.settled.add(job_id, key)
    return job


def _asked_back(unit: UnitOfWork, job: Job, key: str, *, words: Vocabulary) -> Asked:
    for one in asked_back(read_lines(job, words=words), unit.settled.of(job.id)):
        if one.key == key:
            return one
    raise NotFoundError(
        f"expected a piece that is asked back, got '{key[:60]}'; it was answered already"
    )


def _with_gain(job: Job, gain: Gain, words: Vocabulary) -> Job:
    if gain.finding is not None:
        return set_outcome(job, gain.finding, gain.outcome, words=words)
    return replace(
        job,
        reading_sets=(*job.reading_sets, *gain.reading_sets),
        codes=tuple(dict.fromkeys((*job.codes, *gain.codes))),
    )


def settle_again(unit: UnitOfWork, job_id: str, line: HistoryLine) -> None:
    """Ask back a piece whose answer was taken back, or no more where the answer is back."""
    verb, what, open_again = line.verb, line.what, True
    while verb == "undo":
        verb, _, what = what.partition(": ")
        open_again = not open_again
    if verb in _SETTLING:
        key = what.rpartition(_SAYS)[0]
        (unit.settled.remove if open_again else unit.settled.add)(job_id, key)
