"""Take back the last write of a job, and say what others wrote to it meanwhile."""

from dataclasses import dataclass, replace

from kb.case.casefile import read_case
from kb.case.model import Job
from kb.case.terms import Vocabulary
from kb.errors import ConflictError
from kb.store.journal import HistoryLine
from kb.store.photos import PHOTO_VERB
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.close import overturn
from kb.workflow.corrections import settle_again


@dataclass(frozen=True, slots=True, kw_only=True)
class Undone:
    """The job as it stands again, and the line of history that was taken back."""

    job: Job
    line: HistoryLine


def undo_last(unit: UnitOfWork, job_id: str, *, words: Vocabulary) -> Undone:
    """Put a job back as it stood before its last write; undone twice, the write is back.

    Raises
    ------
    NotFoundError
        If there is no such job.
    ConflictError
        If nothing came after its opening, or the earlier state is no longer kept.
    """
    revision = unit.jobs.revision(job_id)
    text = unit.earlier.at(job_id, revision - 1)
    if text is None:
        raise ConflictError(
            f"expected a write to take back, got {job_id} as it was opened; "
            "close it with 'no fault found' if it should not be here"
        )
    line, last = _last_line(unit, job_id), unit.jobs.get(job_id)
    job = read_case(text, name=job_id, words=words)
    unit.jobs.save(job, verb="undo", what=f"{line.verb}: {line.what}")
    settle_again(unit, job_id, line)
    if line.verb in {"close", "undo"}:
        overturn(unit, replace(job, comeback_of=job.comeback_of or last.comeback_of))
    return Undone(job=job, line=line)


def text_taken_back(unit: UnitOfWork, job_id: str) -> str:
    """Return the typed text that the last write of a job took back, "" where it took back none."""
    last = _last_line(unit, job_id)
    verb, _, text = last.what.partition(": ")
    return text if (last.verb, verb) == ("undo", "add") else ""


def written_since(unit: UnitOfWork, job_id: str, revision: int) -> tuple[HistoryLine, ...]:
    """Return the lines of history after the one that made ``revision``, oldest first."""
    newer = unit.jobs.revision(job_id) - revision
    return unit.history.last_of(job_id, newer, but=PHOTO_VERB) if newer > 0 else ()


def _last_line(unit: UnitOfWork, job_id: str) -> HistoryLine:
    (line,) = unit.history.last_of(job_id, 1, but=PHOTO_VERB)
    return line


def _lines(unit: UnitOfWork, job_id: str) -> tuple[HistoryLine, ...]:
    """Return the lines that made a state of the job: one a revision; photos make none."""
    return tuple(row for row in unit.history.of(job_id) if row.verb != PHOTO_VERB)


def as_closed_before(unit: UnitOfWork, job_id: str, *, words: Vocabulary) -> Job | None:
    """Return an open job as it was last closed, None where it never was or it is long ago."""
    # One line a revision: the line that closed it made the state that is wanted.
    closes = [at for at, row in enumerate(_lines(unit, job_id), 1) if row.verb == "close"]
    text = unit.earlier.at(job_id, closes[-1]) if closes else None
    return None if text is None else read_case(text, name=job_id, words=words)
