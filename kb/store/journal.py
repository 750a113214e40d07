"""History, generation and settings: small tables beside the jobs."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Final
from uuid import uuid4

from sqlalchemy import Connection, Select, bindparam, delete, func, insert, select, update

from kb.errors import StoreError
from kb.store.asked import Asked
from kb.store.columns import table_of
from kb.store.postgres import is_postgres
from kb.store.tables import GenerationRow, HistoryRow, SettingRow

# The setting that names the state of all closed jobs, for whoever keeps something made of them.
_STATE: Final = "state of closed jobs"

# Statements are made once: making one costs more than what it asks of a small shop's database.
_SETTING: Final = Asked(select(SettingRow.value).where(SettingRow.key == bindparam("key")))
_GENERATION: Final = Asked(select(GenerationRow.number))
_LINES: Final = select(
    HistoryRow.seq,
    HistoryRow.at,
    HistoryRow.who,
    HistoryRow.verb,
    HistoryRow.job_id,
    HistoryRow.what,
).order_by(HistoryRow.seq)
_LINE: Final = Asked(_LINES.where(HistoryRow.seq == bindparam("number")))
_LAST: Final = Asked(select(func.max(HistoryRow.seq)))
_TOUCHED: Final = Asked(
    select(HistoryRow.job_id)
    .where((HistoryRow.seq > bindparam("number")) & HistoryRow.job_id.is_not(None))
    .distinct()
    .order_by(HistoryRow.job_id)
)
_LINES_OF: Final = Asked(_LINES.where(HistoryRow.job_id == bindparam("of")))
_LAST_OF: Final = Asked(
    _LINES.where((HistoryRow.job_id == bindparam("of")) & (HistoryRow.verb != bindparam("but")))
    .order_by(None)
    .order_by(HistoryRow.seq.desc())
    .limit(bindparam("most"))
)
_ADD_LINES: Final = insert(table_of(HistoryRow))
_COUNT_ON: Final = update(GenerationRow).values(number=GenerationRow.number + 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class HistoryLine:
    """One write: who did what to which job, and when (UTC)."""

    seq: int
    at: datetime
    who: str
    verb: str
    job_id: str | None
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PastLine:
    """A write of another time: who did what, and when (with a zone)."""

    at: datetime
    who: str
    verb: str
    what: str = ""


class Pen:
    """Who writes, when, and over which connection; refuses to write in a unit that only reads."""

    def __init__(self, connection: Connection, *, who: str | None, at: datetime | None) -> None:
        self.connection = connection
        self._who = who
        self._at = at

    @property
    def reads_only(self) -> bool:
        """Return whether nothing can be written with it."""
        return self._who is None

    def require(self) -> tuple[str, datetime]:
        """Return who writes and when.

        Raises
        ------
        StoreError
            If the unit of work was opened for reading.
        """
        if self._who is None or self._at is None:
            raise StoreError("expected Store.write(who, at) around a write, got Store.read()")
        return self._who, self._at


class HistoryRepository:
    """One line for every write, in the order of the writes."""

    def __init__(self, pen: Pen) -> None:
        self._pen = pen

    def add(self, verb: str, job_id: str | None, what: str) -> None:
        """Write one line."""
        self.add_many(verb, (job_id,), what)

    def add_many(self, verb: str, job_ids: Iterable[str | None], what: str) -> None:
        """Write one line for each job."""
        who, at = self._pen.require()
        rows = [
            {"at": at, "who": who, "verb": verb, "job_id": job_id, "what": what}
            for job_id in job_ids
        ]
        if rows:
            self._pen.connection.execute(_ADD_LINES, rows)

    def add_past(self, lines: Sequence[tuple[str, PastLine]]) -> None:
        """Write lines of another time, each with the job that it is about."""
        self._pen.require()
        rows = [
            {
                "at": line.at.astimezone(UTC),
                "who": line.who,
                "verb": line.verb,
                "job_id": job_id,
                "what": line.what,
            }
            for job_id, line in lines
        ]
        if rows:
            self._pen.connection.execute(_ADD_LINES, rows)

    def of(self, job_id: str) -> tuple[HistoryLine, ...]:
        """Return the lines of one job, oldest first."""
        rows = _LINES_OF.named(self._pen.connection, of=job_id)
        return tuple(HistoryLine(**row) for row in rows)

    def last_of(self, job_id: str, most: int, *, but: str) -> tuple[HistoryLine, ...]:
        """Return the last ``most`` lines of one job without those of one verb, oldest first."""
        rows = _LAST_OF.named(self._pen.connection, of=job_id, most=most, but=but)
        return tuple(HistoryLine(**row) for row in reversed(rows))

    def since(self, seq: int) -> tuple[HistoryLine, ...]:
        """Return all lines after the one numbered ``seq``, oldest first."""
        return self._lines(_LINES.where(HistoryRow.seq > seq))

    def touched_since(self, seq: int) -> tuple[str, ...]:
        """Return the ids of all jobs with lines after the one numbered ``seq``, in order."""
        return tuple(str(job_id) for (job_id,) in _TOUCHED.rows(self._pen.connection, number=seq))

    def writers(self) -> tuple[str, ...]:
        """Return every name that ever wrote, in order."""
        query = select(HistoryRow.who).distinct().order_by(HistoryRow.who)
        return tuple(self._pen.connection.scalars(query))

    def of_jobs_since(self, seq: int, *, most: int) -> tuple[HistoryLine, ...]:
        """Return the first ``most`` lines about jobs after the one numbered ``seq``."""
        about = (HistoryRow.seq > seq) & HistoryRow.job_id.is_not(None)
        return self._lines(_LINES.where(about).limit(most))

    def line(self, seq: int) -> HistoryLine | None:
        """Return the line of that number, None where there is none."""
        rows = _LINE.named(self._pen.connection, number=seq)
        return next((HistoryLine(**row) for row in rows), None)

    def last_seq(self) -> int:
        """Return the number of the newest line, 0 before there is one."""
        return _LAST.scalar(self._pen.connection) or 0

    def _lines(self, query: Select[*tuple[Any, ...]]) -> tuple[HistoryLine, ...]:
        rows = self._pen.connection.execute(query).mappings()
        return tuple(HistoryLine(**row) for row in rows)


class SettingRepository:
    """The shop's settings: text by key."""

    def __init__(self, pen: Pen) -> None:
        self._pen = pen

    def get(self, key: str) -> str | None:
        """Return the value of ``key``, None where it was never set."""
        found: str | None = _SETTING.scalar(self._pen.connection, key=key)
        return found

    def set(self, key: str, value: str) -> None:
        """Set ``key``."""
        self._pen.require()
        changed = self._pen.connection.execute(
            update(SettingRow).where(SettingRow.key == key).values(value=value)
        )
        if changed.rowcount == 0:
            self._pen.connection.execute(insert(SettingRow).values(key=key, value=value))


def generation(connection: Connection) -> int:
    """Return the number that grows in every transaction that writes a job."""
    return _GENERATION.scalar(connection) or 0


def state(connection: Connection) -> str:
    """Return what names the present state of all closed jobs; empty before there is one."""
    return _SETTING.scalar(connection, key=_STATE) or ""


def renew_state(connection: Connection) -> None:
    """Give the closed jobs a new name for their state: random, so that no copy shares it."""
    name = uuid4().hex
    changed = connection.execute(
        update(SettingRow).where(SettingRow.key == _STATE).values(value=name)
    )
    if changed.rowcount == 0:
        connection.execute(insert(SettingRow).values(key=_STATE, value=name))


def next_job_number(connection: Connection) -> int:
    """Count one job further and return the count."""
    connection.execute(update(GenerationRow).values(last_job=GenerationRow.last_job + 1))
    return connection.scalar(select(GenerationRow.last_job)) or 0


def leave_numbers(
    connection: Connection, at: datetime, *, seen: int, lines: int, jobs: int
) -> None:
    """Leave out numbers that another copy of the shop may have given out.

    Parameters
    ----------
    connection : Connection
        In a transaction that writes. SQLite numbers on from the highest ever written, PostgreSQL
        from where its counter is set.
    at : datetime
        Now, with a zone.
    seen : int
        The highest number of a line of history that is known of the other copy.
    lines, jobs : int
        How many numbers of lines and of jobs to leave out beyond.
    """
    last = connection.scalar(select(func.max(HistoryRow.seq))) or 0
    row = {"at": at, "who": "", "verb": "", "job_id": None, "what": ""}
    seq = max(last, seen) + lines
    connection.execute(insert(HistoryRow).values(seq=seq, **row))
    connection.execute(delete(HistoryRow).where(HistoryRow.seq == seq))
    if is_postgres(connection):
        counter = func.pg_get_serial_sequence(HistoryRow.__tablename__, "seq")
        connection.execute(select(func.setval(counter, seq)))
    connection.execute(update(GenerationRow).values(last_job=GenerationRow.last_job + jobs))


def bump_generation(connection: Connection) -> None:
    """Count one generation further."""
    connection.execute(_COUNT_ON)


def lock_generation(connection: Connection) -> None:
    """Hold the row, so that writers queue on databases that lock rows; SQLite locks before."""
    if is_postgres(connection):
        connection.execute(select(GenerationRow.id).with_for_update())
