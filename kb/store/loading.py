"""Rows to values: any number of jobs in one query a table."""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any, Final

from sqlalchemy import (
    BindParameter,
    ColumnElement,
    Connection,
    Select,
    bindparam,
    select,
)
from sqlalchemy.exc import OperationalError
from typing_extensions import override

from kb.case.model import Complaint, Job, JobState, Origin, Scan, Vehicle
from kb.errors import KBError
from kb.store.asked import Asked
from kb.store.columns import Base, table_of
from kb.store.faults import damaged_jobs, no_such_job
from kb.store.few_jobs import rows_below
from kb.store.rows import COMPLAINT, PLAIN, VEHICLE, content_hash
from kb.store.seals import seal_of
from kb.store.shapes import (
    AFTER_CHECK,
    CLOSING,
    CODE,
    FINDING,
    FINDING_RESPONSE,
    FITTED_PART,
    OPTION,
    PROOF,
    READING,
    READING_SET,
    SYMPTOM,
    SYMPTOM_RESPONSE,
    TRIED,
    Shape,
)
from kb.store.tables import FieldRow, JobRow, LineRow

# Which jobs: those for which a condition holds, those of these ids, or all.
Chosen = ColumnElement[bool] | tuple[str, ...] | None
_IDS: Final[BindParameter[Any]] = bindparam("ids", expanding=True)
# Values by the key of their parent: a job's id, or (job's id, ordinal of the parent's row).
Groups = Mapping[Any, Any]
# What is raised where rows hold what no job can hold.
NO_JOB: Final = (
    ArithmeticError, AttributeError, LookupError, RuntimeError, StopIteration, TypeError, ValueError,
)  # fmt: skip


def load_jobs(
    connection: Connection, chosen: Chosen = None, *, damaged: set[str] | None = None
) -> tuple[Job, ...]:
    """Return the jobs ``chosen`` by a condition on ``jobs`` or by their ids; all without either.

    Jobs come in the order of their ids. Each is held against the hash of what was written: a job
    that changed on the disk is never returned.

    Parameters
    ----------
    damaged : set of str, optional
        Takes the ids of damaged jobs, which are then left out.

    Raises
    ------
    StoreError
        If a job is damaged and ``damaged`` is None; names the jobs.
    """
    jobs, wrong = _sorted_out(connection, chosen)
    if wrong and damaged is None:
        raise damaged_jobs(wrong)
    if damaged is not None:
        damaged.update(wrong)
    return jobs


def _sorted_out(connection: Connection, chosen: Chosen) -> tuple[tuple[Job, ...], tuple[str, ...]]:
    """Return the sound jobs, and the ids of the damaged ones."""
    try:
        rows = _read(connection, chosen)
    except (*NO_JOB, OperationalError) as error:
        if isinstance(error, OperationalError) and "decode" not in str(error.orig):
            raise
        return _by_halves(connection, chosen)
    sound = [(job, kept == _hash_of(job)) for job, kept in rows]
    return (
        tuple(job for job, good in sound if good),
        tuple(job.id for job, good in sound if not good),
    )


def _hash_of(job: Job) -> str:
    try:
        return content_hash(job)
    except (*NO_JOB, KBError):
        return "what no job can hold"


def _by_halves(connection: Connection, chosen: Chosen) -> tuple[tuple[Job, ...], tuple[str, ...]]:
    """Narrow down which of the chosen jobs cannot be read."""
    query = select(JobRow.id).order_by(JobRow.id)
    if chosen is not None:
        query = query.where(JobRow.id.in_(chosen) if isinstance(chosen, tuple) else chosen)
    ids = tuple(connection.scalars(query))
    if len(ids) == 1:
        return (), (ids[0],)
    jobs: tuple[Job, ...] = ()
    wrong: tuple[str, ...] = ()
    for half in filter(None, (ids[: len(ids) // 2], ids[len(ids) // 2 :])):
        sound, damaged = _sorted_out(connection, half)
        jobs, wrong = jobs + sound, wrong + damaged
    return jobs, wrong


def _read(connection: Connection, chosen: Chosen) -> list[tuple[Job, str]]:
    """Return the chosen jobs as they stand, each with the hash of what was written."""
    rows: Iterable[Mapping[Any, Any]]
    if isinstance(chosen, tuple):
        parts = _FewLoader(connection, chosen).parts()
        rows = _rows_of(connection, chosen)
    else:
        ids = None if chosen is None else select(JobRow.id).where(chosen)
        parts = JobLoader(connection, ids=ids).parts()
        query = _all_jobs()
        rows = connection.execute(query if chosen is None else query.where(chosen)).mappings()
    return [(job_of(row, parts), row["content_hash"]) for row in rows]


# Statements are made once: making one costs more than what it asks of a small shop's database.
@cache
def _all_jobs() -> Select[Any]:
    # The HTML of a body is a page's business alone: ``JobRepository.body_html``.
    kept = [column for column in table_of(JobRow).c if column.name != "body_html"]
    return select(*kept).order_by(JobRow.id)


@cache
def _named_jobs() -> Select[Any]:
    return _all_jobs().where(JobRow.id.in_(_IDS))


@cache
def _one_job() -> Asked:
    return Asked(_all_jobs().where(JobRow.id == bindparam("job")))


def _rows_of(connection: Connection, ids: tuple[str, ...]) -> Iterable[Mapping[Any, Any]]:
    if len(ids) == 1:
        return _one_job().named(connection, job=ids[0])
    return connection.execute(_named_jobs(), {"ids": ids}).mappings()


@cache
def _all_rows(row_type: type[Base], names: tuple[str, ...]) -> Select[Any]:
    table = table_of(row_type)
    keys = list(table.primary_key)
    return select(*keys, *(table.c[name] for name in names)).order_by(*keys)


_WHOLE_ROW: Final = Asked(select(table_of(JobRow)).where(JobRow.id == bindparam("job")))


def load_body_html(connection: Connection, job_id: str) -> str:
    """Return the HTML of a job's text, empty where it has none.

    Raises
    ------
    NotFoundError
        If there is none of that id.
    StoreError
        If its row changed on the disk.
    """
    table = table_of(JobRow)
    rows = _WHOLE_ROW.named(connection, job=job_id)
    if not rows:
        raise no_such_job(job_id)
    (row,) = rows
    # Inside the unit of work that wrote it, a row has no seal yet.
    if row["seal"] not in {None, seal_of(table, row)}:
        raise damaged_jobs((job_id,))
    return str(row["body_html"])


class JobLoader:
    """Reads the tables below the chosen jobs."""

    def __init__(
        self,
        connection: Connection,
        *,
        ids: Select[str] | None = None,
    ) -> None:
        self.connection = connection
        self.ids = ids

    def parts(self) -> dict[str, Groups]:
        """Return the values of each tuple of a job by job id."""
        closings = self.load(
            CLOSING,
            proofs=self.load(PROOF),
            parts=self.load(FITTED_PART),
            options=self.load(OPTION),
            after_checks=self.load(AFTER_CHECK),
        )
        # A symptom has at most one response, where a finding has any number.
        response = {key: rows[0] for key, rows in self.load(SYMPTOM_RESPONSE).items()}
        return {
            "lines": self.texts(LineRow),
            "fields": self.texts(FieldRow),
            "symptoms": self.load(SYMPTOM, response=response),
            "reading_sets": self.load(READING_SET, readings=self.load(READING)),
            "codes": self.load(CODE),
            "findings": self.load(FINDING, responses=self.load(FINDING_RESPONSE)),
            "tried": self.load(TRIED),
            "closing": {job_id: rows[0] for job_id, rows in closings.items()},
        }

    def load(self, shape: Shape, **below: Groups) -> Groups:
        """Return the values of one table by parent, with those of the tables ``below`` put in."""
        depth = shape.keys
        groups: dict[Any, list[Any]] = defaultdict(list)
        for row in self.rows(shape.table, shape.names):
            values = dict(zip(shape.names, row[depth:], strict=True))
            for name, made in shape.enums.items():
                if values[name] is not None:
                    values[name] = made(values[name])
            own = row[:2] if depth > 1 else row[0]
            for name, group in below.items():
                if own in group:
                    values[name] = group[own]
            groups[own if depth > 2 else row[0]].append(shape.kind(**values))
        return {key: tuple(rows) for key, rows in groups.items()}

    def texts(self, row_type: type[LineRow | FieldRow]) -> Groups:
        """Return plain text by job: single lines, or pairs of name and value."""
        names = ("text",) if row_type is LineRow else ("name", "value")
        groups: dict[str, list[Any]] = defaultdict(list)
        for job_id, _, *values in self.rows(row_type, names):
            groups[job_id].append(values[0] if len(values) == 1 else tuple(values))
        return {key: tuple(rows) for key, rows in groups.items()}

    def rows(self, row_type: type[Base], names: tuple[str, ...]) -> list[tuple[Any, ...]]:
        """Return keys and named columns of the rows of one table, in the order of the keys."""
        query = _all_rows(row_type, names)
        if self.ids is not None:
            query = query.where(table_of(row_type).c.job_id.in_(self.ids))
        return [tuple(row) for row in self.connection.execute(query)]


class _FewLoader(JobLoader):
    """Reads all tables below a few jobs at once."""

    def __init__(self, connection: Connection, ids: tuple[str, ...]) -> None:
        super().__init__(connection)
        self._below = rows_below(connection, ids)

    @override
    def rows(self, row_type: type[Base], names: tuple[str, ...]) -> list[tuple[Any, ...]]:
        return self._below.get(row_type, [])


def job_of(row: Mapping[Any, Any], parts: Mapping[str, Groups]) -> Job:
    """Return the job of a row of ``jobs`` and of what lies below it."""
    job_id = row["id"]
    scanned = row["scan_modules"] is not None
    return Job(
        **{name: row[name] for name in PLAIN},
        state=JobState(row["state"]),
        origin=Origin(row["origin"]),
        vehicle=Vehicle(**{name: row[f"vehicle_{name}"] for name in VEHICLE}),
        complaint=Complaint(**{name: row[f"complaint_{name}"] for name in COMPLAINT}),
        scan=Scan(none_found=row["scan_none_found"], modules=row["scan_modules"])
        if scanned
        else None,
        **{name: group[job_id] for name, group in parts.items() if job_id in group},
    )
