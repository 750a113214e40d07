"""Many closed jobs marked as held in a few statements: thousands pass their period at first."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from sqlalchemy import bindparam, func, select, update

from kb.case.model import Job
from kb.store.journal import HistoryRepository, Pen
from kb.store.loading import load_jobs
from kb.store.repository import CHUNK, JobRepository
from kb.store.rows import content_hash
from kb.store.tables import ClosingRow, JobRow
from kb.store.writes import EarlierStates

# The verb of the line of history that each job gets.
HELD: Final = "held"


class HeldRepairs:
    """Marks closed jobs as held, as ``JobRepository.save`` would write each of them.

    Parameters
    ----------
    pen : Pen
        The connection, who writes and when.
    jobs : JobRepository
        Is told which jobs were written.
    history : HistoryRepository
        Takes one line for every job.
    """

    def __init__(self, pen: Pen, jobs: JobRepository, history: HistoryRepository) -> None:
        self._pen = pen
        self._jobs = jobs
        self._history = history
        self._earlier = EarlierStates(pen)

    def left(self, ids: Sequence[str]) -> int:
        """Return how many of those jobs are not marked as held, nor overturned, nor back in."""
        if not ids:
            return 0
        still = ClosingRow.held.is_(False) & ClosingRow.overturned_by.is_(None)
        back = select(JobRow.id).where(JobRow.comeback_of == ClosingRow.job_id).exists()
        query = select(func.count()).where(ClosingRow.job_id.in_(ids) & still & ~back)
        return self._pen.connection.scalar(query) or 0

    def mark(self, ids: Sequence[str], *, what: str) -> None:
        """Mark the closed jobs of those ids as held; ``what`` stands in each line of history."""
        self._pen.require()
        for at in range(0, len(ids), CHUNK):
            self._mark(ids[at : at + CHUNK], what)

    def _mark(self, ids: Sequence[str], what: str) -> None:
        connection = self._pen.connection
        jobs = [job for job in load_jobs(connection, JobRow.id.in_(ids)) if job.closing]
        query = select(JobRow.id, JobRow.revision).where(JobRow.id.in_(ids))
        revisions = {row.id: row.revision for row in connection.execute(query)}
        for job in jobs:
            self._earlier.keep(job, revisions[job.id])
        rows = [
            {
                "of": job.id,
                "content_hash": content_hash(_held(job)),
                "revision": revisions[job.id] + 1,
            }
            for job in jobs
        ]
        if rows:
            table = JobRow.__table__
            one = update(JobRow).where(table.c.id == bindparam("of"))
            connection.execute(one, rows)
            found = ClosingRow.job_id.in_([job.id for job in jobs])
            connection.execute(update(ClosingRow).where(found).values(held=True))
            self._history.add_many(HELD, [job.id for job in jobs], what)
            self._jobs.note_written(jobs)


def _held(job: Job) -> Job:
    return replace(job, closing=job.closing and replace(job.closing, held=True))
