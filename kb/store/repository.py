"""The queries about jobs; every write of a job writes one line of history."""

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import islice
from typing import Final, TypeVar

from sqlalchemy import ColumnElement, bindparam, func, select

from kb.case.model import Job, JobState, Origin
from kb.case.standing import ELSEWHERE
from kb.errors import ConflictError
from kb.store.asked import Asked
from kb.store.faults import no_such_job, taken
from kb.store.journal import HistoryRepository, PastLine, Pen, next_job_number
from kb.store.known_jobs import HASHES, known_jobs
from kb.store.loading import load_body_html, load_jobs
from kb.store.rows import rows_of
from kb.store.saving import insert_rows, save_rows
from kb.store.tables import ClosingRow, HistoryRow, JobRow
from kb.store.witnesses import Witnesses
from kb.store.writes import EarlierStates

# Jobs in one round of inserts or of checks; bounds memory (our choice).
CHUNK: Final = 500

# What pages ask again and again is made once.
_ONE: Final = Asked(HASHES.where(JobRow.id == bindparam("job")))
_SOME: Final = HASHES.where(JobRow.id.in_(bindparam("jobs", expanding=True)))
# Named, not left out: so the index of the states serves, however many are closed.
_OPEN: Final = Asked(HASHES.where(JobRow.state.in_([JobState.OPEN.value, JobState.WAITING.value])))
_CLOSED: Final = JobRow.state == JobState.CLOSED.value
_OF_CAR: Final = Asked(HASHES.where(JobRow.vehicle_vin == bindparam("vin")))
_COMEBACKS: Final = Asked(select(JobRow.id).where(JobRow.comeback_of == bindparam("job")))
_REVISION: Final = Asked(select(JobRow.revision).where(JobRow.id == bindparam("job")))

T = TypeVar("T")


class JobRepository(Witnesses):
    """The jobs of one unit of work.

    Parameters
    ----------
    pen : Pen
        The connection, who writes and when.
    history : HistoryRepository
        Takes one line for every write.

    Attributes
    ----------
    written : bool
        True once a job was written in this unit.
    closed_written : bool
        True once a closed job was among them, as it is now or as it stood before.
    first_written : str or None
        The id of the job that was written first in this unit.
    damaged : set of str
        The ids of jobs that a list left out because they changed on the disk.
    """

    def __init__(self, pen: Pen, history: HistoryRepository) -> None:
        self._pen = pen
        self._history = history
        self._earlier = EarlierStates(pen)
        self._connection = pen.connection
        self.written = False
        self.closed_written = False
        self.first_written: str | None = None
        self.damaged: set[str] = set()

    # --- reading -----------------------------------------------------------------------------

    def get(self, job_id: str) -> Job:
        """Return one job.

        Raises
        ------
        NotFoundError
            If there is none of that id.
        """
        found = known_jobs(self._connection, _ONE.rows(self._connection, job=job_id))
        if not found:
            raise no_such_job(job_id)
        return found[0]

    def body_html(self, job_id: str) -> str:
        """Return the HTML of a job's text, empty where it has none.

        Raises
        ------
        NotFoundError
            If there is none of that id.
        StoreError
            If it changed on the disk.
        """
        return load_body_html(self._connection, job_id)

    def some(self, ids: Sequence[str]) -> tuple[Job, ...]:
        """Return the jobs of those ids that are there, in the order of the ids."""
        asked = self._connection.execute(_SOME, {"jobs": ids}).all()
        return known_jobs(self._connection, asked, damaged=self.damaged)

    def by_invoice(self, invoice: str) -> Job | None:
        """Return the job with that invoice number, None where there is none."""
        asked = self._connection.execute(HASHES.where(JobRow.invoice == invoice)).all()
        found = known_jobs(self._connection, asked)
        return found[0] if found else None

    def of_vehicle(self, vin: str) -> tuple[Job, ...]:
        """Return every job of one car by its VIN."""
        asked = _OF_CAR.rows(self._connection, vin=vin)
        return known_jobs(self._connection, asked, damaged=self.damaged)

    def of_cause(self, cause: str, *, most: int) -> tuple[Job, ...]:
        """Return the newest jobs of one cause that were closed here, at most ``most``."""
        not_here = (Origin.INVENTED, *ELSEWHERE)
        known = (ClosingRow.cause == cause) & JobRow.origin.not_in([str(row) for row in not_here])
        query = select(ClosingRow.job_id).join(JobRow, JobRow.id == ClosingRow.job_id).where(known)
        newest = query.order_by(ClosingRow.closed.desc(), ClosingRow.job_id.desc()).limit(most)
        return self.some(tuple(self._connection.scalars(newest)))

    def comebacks_of(self, job_id: str) -> tuple[Job, ...]:
        """Return the jobs that are comebacks of one job."""
        # The column has no index: looked through once, not once for each table below.
        ids = tuple(row[0] for row in _COMEBACKS.rows(self._connection, job=job_id))
        return self.some(ids) if ids else ()

    def open_jobs(self) -> tuple[Job, ...]:
        """Return the jobs that are not closed, waiting ones among them."""
        asked = _OPEN.rows(self._connection)
        return known_jobs(self._connection, asked, damaged=self.damaged)

    def closed_jobs(self) -> tuple[Job, ...]:
        """Return every closed job."""
        return load_jobs(self._connection, _CLOSED, damaged=self.damaged)

    def closed_since(self, seq: int) -> tuple[Job, ...]:
        """Return the closed jobs that were written after line ``seq`` of the history."""
        chosen = _CLOSED & JobRow.id.in_(select(HistoryRow.job_id).where(HistoryRow.seq > seq))
        return load_jobs(self._connection, chosen, damaged=self.damaged)

    def ids(self) -> tuple[str, ...]:
        """Return the ids of all jobs, in order."""
        return tuple(self._connection.scalars(select(JobRow.id).order_by(JobRow.id)))

    def count(self) -> int:
        """Return how many jobs there are."""
        return self._connection.scalar(select(func.count()).select_from(JobRow)) or 0

    def revision(self, job_id: str) -> int:
        """Return how often a job was written; ``save`` takes it as ``expected_revision``.

        Raises
        ------
        NotFoundError
            If there is none of that id.
        """
        found: int | None = _REVISION.scalar(self._connection, job=job_id)
        if found is None:
            raise no_such_job(job_id)
        return found

    def verify_hashes(self) -> tuple[str, ...]:
        """Return the ids of jobs whose rows are no longer those that were written."""
        wrong: set[str] = set()
        for ids in _chunks(self.ids()):
            load_jobs(self._connection, JobRow.id.in_(ids), damaged=wrong)
        return tuple(sorted(wrong))

    # --- writing -----------------------------------------------------------------------------

    def next_id(self) -> str:
        """Return an id that no job has, ``J000001`` upwards."""
        self._pen.require()
        while True:
            job_id = f"J{next_job_number(self._connection):06d}"
            if not self._taken(JobRow.id == job_id):
                return job_id

    def add(self, job: Job, *, verb: str, what: str = "") -> None:
        """Store a new job.

        Raises
        ------
        ConflictError
            If its id or its invoice number is taken.
        """
        self.add_many((job,), verb=verb, what=what)

    def add_many(self, jobs: Iterable[Job], *, verb: str, what: str = "") -> None:
        """Store many new jobs, with one line of history for each.

        Raises
        ------
        ConflictError
            If an id or an invoice number is taken, or stands twice in ``jobs``.
        """
        self._pen.require()
        for chunk in _chunks(jobs):
            self._insert_new(chunk)
            self._history.add_many(verb, [job.id for job in chunk], what)

    def add_past(self, jobs: Iterable[tuple[Job, PastLine]]) -> None:
        """Store many new jobs, each with the line of history that it had in its time.

        Raises
        ------
        ConflictError
            If an id or an invoice number is taken, or stands twice in ``jobs``.
        """
        self._pen.require()
        for chunk in _chunks(jobs):
            self._insert_new([job for job, _ in chunk])
            self._history.add_past([(job.id, line) for job, line in chunk])

    def save(
        self, job: Job, *, verb: str, what: str = "", expected_revision: int | None = None
    ) -> None:
        """Store a new state of a job.

        Parameters
        ----------
        job : Job
            Replaces the job of the same id.
        verb, what : str
            The line of history.
        expected_revision : int or None
            The revision that the writer saw; None where nobody else can have written since.

        Raises
        ------
        NotFoundError
            If there is none of that id.
        ConflictError
            If somebody wrote the job since, or its invoice number is another job's.
        """
        self._pen.require()
        seen = self.revision(job.id)
        if expected_revision is not None and seen != expected_revision:
            raise ConflictError(
                f"expected job {job.id} at revision {expected_revision}, got {seen}: somebody "
                "else changed it; look at it again, then write"
            )
        self._refuse_invoice(job)
        before = self.get(job.id)
        self._earlier.keep(before, seen)
        rows = rows_of((job,), revisions={job.id: seen + 1})
        save_rows(self._connection, before, rows)
        self._history.add(verb, job.id, what)
        self.note_written((before, job))

    def note_written(self, jobs: Sequence[Job]) -> None:
        """Note which jobs were written in this unit of work."""
        self.written = True
        self.first_written = self.first_written or jobs[0].id
        self.closed_written = self.closed_written or any(job.closing for job in jobs)

    def _insert_new(self, jobs: Sequence[Job]) -> None:
        self._refuse_taken(jobs)
        insert_rows(self._connection, rows_of(jobs))
        self.note_written(jobs)

    def _taken(self, condition: ColumnElement[bool]) -> bool:
        return self._connection.scalar(select(JobRow.id).where(condition)) is not None

    def _refuse_invoice(self, job: Job) -> None:
        if job.invoice is None:
            return
        if self._taken((JobRow.invoice == job.invoice) & (JobRow.id != job.id)):
            raise taken("invoice", job.invoice)

    def _refuse_taken(self, jobs: Sequence[Job]) -> None:
        for what, column, wanted in (
            ("id", JobRow.id, [job.id for job in jobs]),
            ("invoice", JobRow.invoice, [job.invoice for job in jobs if job.invoice is not None]),
        ):
            query = select(column).where(column.in_(wanted)).limit(1)
            twice = self._connection.scalar(query) or _first_twin(wanted)
            if twice is not None:
                raise taken(what, twice)


def _first_twin(values: Sequence[str]) -> str | None:
    return next((value for value, count in Counter(values).items() if count > 1), None)


def _chunks(rows: Iterable[T]) -> Iterator[list[T]]:
    rest = iter(rows)
    while chunk := list(islice(rest, CHUNK)):
        yield chunk
