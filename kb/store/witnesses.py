"""The closed jobs that may be witnesses: all but the invented ones."""

from typing import Final

from sqlalchemy import Connection, select

from kb.case.model import Job, JobState, Origin
from kb.case.standing import ELSEWHERE
from kb.store.loading import load_jobs
from kb.store.tables import JobRow

_CLOSED: Final = JobRow.state == JobState.CLOSED.value
_WITNESS: Final = _CLOSED & (JobRow.origin != Origin.INVENTED.value)


class Witnesses:
    """The part of the queries about jobs that asks for witnesses."""

    _connection: Connection
    damaged: set[str]

    def witnesses(self) -> tuple[Job, ...]:
        """Return every closed job that may be a witness: all but the invented ones."""
        return load_jobs(self._connection, _WITNESS, damaged=self.damaged)

    def witnesses_between(self, first: str, last: str) -> tuple[Job, ...]:
        """Return those of ``witnesses`` whose ids lie from ``first`` to ``last``."""
        chosen = _WITNESS & JobRow.id.between(first, last)
        return load_jobs(self._connection, chosen, damaged=self.damaged)

    def newest_own(self, most: int) -> tuple[Job, ...]:
        """Return the witnesses of this shop that were opened last, at most ``most``, by their ids."""
        own = _WITNESS & JobRow.origin.not_in([str(row) for row in ELSEWHERE])
        newest = select(JobRow.id).where(own).order_by(JobRow.opened.desc(), JobRow.id.desc())
        chosen = JobRow.id.in_(newest.limit(most))
        return load_jobs(self._connection, chosen, damaged=self.damaged)

    def witness_marks(self) -> dict[str, str]:
        """Return the content hash of every closed job that may be a witness, by its id."""
        rows = self._connection.execute(select(JobRow.id, JobRow.content_hash).where(_WITNESS))
        return {str(job_id): str(mark) for job_id, mark in rows}
