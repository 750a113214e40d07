"""One job as the rows of its tables, and the rows of its tables as one job."""

from collections.abc import Mapping, Sequence
from typing import Any

from typing_extensions import override

from kb.case.model import Job
from kb.errors import StoreError
from kb.store.columns import Base, table_of
from kb.store.exported import JOB_TABLES, JOBS
from kb.store.loading import NO_JOB, JobLoader, job_of
from kb.store.rows import rows_of

# Rows by the name of their table.
TableRows = Mapping[str, Sequence[Mapping[str, Any]]]


class _RowLoader(JobLoader):
    """Takes the rows below a job from where they lie instead of asking for them."""

    def __init__(self, given: TableRows) -> None:
        self.given = given

    @override
    def rows(self, row_type: type[Base], names: tuple[str, ...]) -> list[tuple[Any, ...]]:
        """Return keys and named columns of the rows of one table, in the order of the keys."""
        table = table_of(row_type)
        keys = [column.name for column in table.primary_key]
        found = sorted(self.given.get(table.name, ()), key=lambda row: [row[key] for key in keys])
        return [tuple(row[name] for name in (*keys, *names)) for row in found]


def job_tables(job: Job, revision: int) -> dict[str, list[dict[str, Any]]]:
    """Return the exported columns of the rows of one job, by table; every table is named."""
    made = rows_of((job,), revisions={job.id: revision})
    return {
        table.name: [
            {column.name: row[column.name] for column in table.columns}
            for row in made.get(table.row_type, ())
        ]
        for table in JOB_TABLES
    }


def job_from_tables(given: TableRows) -> tuple[Job, int]:
    """Return the job that the rows make, and its revision.

    Raises
    ------
    StoreError
        If they make no job, or a job with other rows: a row without its parent, or a gap between.
    """
    row = given[JOBS.name][0]
    try:
        job = job_of(row, _RowLoader(given).parts())
    except NO_JOB as error:
        raise StoreError(f"expected rows that make a job, got: {error}") from error
    made = job_tables(job, row["revision"])
    for name, rows in made.items():
        if _counted(rows) != _counted(given.get(name, ())):
            raise StoreError(
                f"expected rows of {name} numbered from 0, each with the row that it belongs to, "
                "got others"
            )
    return job, row["revision"]


def _counted(rows: Sequence[Mapping[str, Any]]) -> list[tuple[Any, ...]]:
    return sorted((row.get("parent", 0), row.get("ordinal", 0)) for row in rows)
