"""All that a shop holds, read in pieces and written back as it was, for exports and imports."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final

from sqlalchemy import Select, func, insert, or_, select, update

from kb.case.model import Job
from kb.store.columns import table_of
from kb.store.exported import BESIDE, HISTORY, ExportedTable
from kb.store.journal import Pen
from kb.store.loading import load_jobs
from kb.store.repository import JobRepository
from kb.store.rows import TABLES, rows_of
from kb.store.tables import GenerationRow, HistoryRow, JobRow

# Rows that are fetched at once; bounds memory (our choice).
_FETCHED: Final = 500
Row = dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptJob:
    """A job with its revision and the rows that lie beside it, by table, without the job's id."""

    job: Job
    revision: int
    beside: Mapping[str, Sequence[Mapping[str, Any]]] = field(default_factory=dict)


class WholeShop:
    """Everything in the tables that are exported.

    Parameters
    ----------
    pen : Pen
        The connection, who writes and when.
    jobs : JobRepository
        Is told which jobs were written.
    """

    def __init__(self, pen: Pen, jobs: JobRepository) -> None:
        self._pen = pen
        self._connection = pen.connection
        self._jobs = jobs

    # --- reading -----------------------------------------------------------------------------

    def jobs(self, ids: Sequence[str]) -> tuple[tuple[KeptJob, ...], tuple[str, ...]]:
        """Return the jobs of ``ids`` in their order, and the ids of those that are damaged."""
        revisions = select(JobRow.id, JobRow.revision).where(JobRow.id.in_(ids))
        known = {row.id: row.revision for row in self._connection.execute(revisions)}
        beside = {table.name: self._beside(table, ids) for table in BESIDE}
        damaged: set[str] = set()
        found = load_jobs(self._connection, JobRow.id.in_(ids), damaged=damaged)
        jobs = {job.id: job for job in found}
        kept = tuple(
            KeptJob(
                job=jobs[job_id],
                revision=known[job_id],
                beside={name: rows[job_id] for name, rows in beside.items() if job_id in rows},
            )
            for job_id in ids
            if job_id in jobs
        )
        return kept, tuple(sorted(damaged))

    def _beside(self, table: ExportedTable, ids: Sequence[str]) -> dict[str, list[Row]]:
        columns = table_of(table.row_type).c
        query = self._select(table).where(columns.job_id.in_(ids))
        groups: dict[str, list[Row]] = {}
        for row in self._fetched(query.order_by(*table_of(table.row_type).primary_key)):
            groups.setdefault(row.pop("job_id"), []).append(row)
        return groups

    def rows(self, table: ExportedTable) -> Iterator[Row]:
        """Yield the exported columns of all rows of a table, in the order of its key."""
        yield from self._fetched(
            self._select(table).order_by(*table_of(table.row_type).primary_key)
        )

    def known(self, table: ExportedTable, keys: Sequence[Sequence[Any]]) -> Iterator[Row]:
        """Yield the rows of a table that have the first column of one of ``keys``."""
        first = table_of(table.row_type).c[table.key[0]]
        yield from self._fetched(self._select(table).where(first.in_([key[0] for key in keys])))

    def stray_history(self) -> Iterator[Row]:
        """Yield the lines of history of no job, or of one that is not there."""
        stray = or_(HistoryRow.job_id.is_(None), HistoryRow.job_id.not_in(select(JobRow.id)))
        yield from self._fetched(self._select(HISTORY).where(stray).order_by(HistoryRow.seq))

    def invoices(self, invoices: Sequence[str]) -> frozenset[str]:
        """Return those invoice numbers that a job has."""
        query = select(JobRow.invoice).where(JobRow.invoice.in_(invoices))
        return frozenset(number for number in self._connection.scalars(query) if number)

    def last_job(self) -> int:
        """Return the number that was given to a job last."""
        return self._connection.scalar(select(GenerationRow.last_job)) or 0

    def _select(self, table: ExportedTable) -> Select[Any]:
        columns = table_of(table.row_type).c
        return select(*(columns[column.name] for column in table.columns))

    def _fetched(self, query: Select[Any]) -> Iterator[Row]:
        found = self._connection.execute(query, execution_options={"yield_per": _FETCHED})
        yield from map(dict, found.mappings())

    # --- writing -----------------------------------------------------------------------------

    def add_jobs(self, kept: Sequence[KeptJob]) -> None:
        """Store new jobs as they were, without a line of history: it is added by ``add_rows``."""
        self._pen.require()
        jobs = [row.job for row in kept]
        rows = rows_of(jobs, revisions={row.job.id: row.revision for row in kept})
        for row_type in TABLES:
            if rows.get(row_type):
                self._connection.execute(insert(row_type), rows[row_type])
        for table in BESIDE:
            self.add_rows(
                table,
                [
                    {"job_id": row.job.id, **beside}
                    for row in kept
                    for beside in row.beside.get(table.name, ())
                ],
            )
        if jobs:
            self._jobs.note_written(jobs)

    def add_rows(self, table: ExportedTable, rows: Sequence[Mapping[str, Any]]) -> None:
        """Store new rows of a table with the columns that they have."""
        self._pen.require()
        if rows:
            self._connection.execute(insert(table.row_type), [dict(row) for row in rows])

    def count_on(self, last_job: int, numbered: Sequence[ExportedTable]) -> None:
        """Give new jobs, and new rows of the ``numbered`` tables, numbers after those written."""
        self._pen.require()
        self._connection.execute(
            update(GenerationRow).where(GenerationRow.last_job < last_job).values(last_job=last_job)
        )
        if self._connection.dialect.name != "postgresql":
            return
        for table in numbered:
            newest = self._connection.scalar(select(func.max(table_of(table.row_type).c.id)))
            if newest is not None:
                place = func.pg_get_serial_sequence(table.name, "id")
                self._connection.execute(select(func.setval(place, newest)))
