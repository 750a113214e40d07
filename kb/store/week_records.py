"""What closed and open jobs hold, as the week counts it: few columns, one query a table."""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

from sqlalchemy import ColumnElement, Exists, case, exists, func, or_, select

from kb.case.model import FixKind, JobState, Option, Phase
from kb.store.journal import Pen
from kb.store.tables import (
    AfterCheckRow,
    ClosingRow,
    FindingRow,
    HistoryRow,
    JobRow,
    OptionRow,
    ProofRow,
    ReadingSetRow,
    TriedRow,
)
from kb.store.week_rows import closed_between

# The weakest proof method: nothing was seen, measured or moved.
_INFERRED: Final = "inferred"


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordLine:
    """What is written down of one closed job.

    ``before`` and ``after`` are reading sets, ``proven`` any proof, ``shown`` one that is more than
    inferred, ``fix`` what was done, ``holds`` what shows that it holds.
    """

    id: str
    cause: str | None
    before: bool
    after: bool
    proven: bool
    shown: bool
    fix: bool
    holds: bool

    @property
    def is_case(self) -> bool:
        """True with a cause and at least one proof."""
        return bool(self.cause) and self.proven


@dataclass(frozen=True, slots=True, kw_only=True)
class TriedLine:
    """A part that did not cure, with its job; what was not written down is None."""

    job: str
    part: str
    cost_cents: int | None
    minutes: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftLine:
    """A closed job whose full repair may have been left undone."""

    id: str
    fix: FixKind | None
    until: date | None
    proven: bool
    options: tuple[Option, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenLine:
    """A job that was open on a day.

    ``closed`` is when it was closed later; ``checked`` says whether a finding stands in it now.
    ``year`` to ``engine`` are those of its car.
    """

    id: str
    opened: date
    closed: date | None
    waits_for: str | None
    comeback_of: str | None
    vin: str | None
    year: int | None
    make: str | None
    model: str | None
    engine: str | None
    checked: bool


class WeekRecords:
    """The lean reads of one unit of work."""

    def __init__(self, pen: Pen) -> None:
        self._connection = pen.connection

    def held_in(self, first: date, last: date) -> tuple[RecordLine, ...]:
        """Return what is written down of the jobs closed from ``first`` to ``last``, by id."""
        query = (
            select(
                ClosingRow.job_id.label("id"),
                ClosingRow.cause,
                _has(ReadingSetRow, ReadingSetRow.phase == Phase.BEFORE.value).label("before"),
                _has(ReadingSetRow, ReadingSetRow.phase == Phase.AFTER.value).label("after"),
                _has(ProofRow).label("proven"),
                _has(ProofRow, ProofRow.method != _INFERRED).label("shown"),
                or_(ClosingRow.fix.is_not(None), ClosingRow.fix_text != "").label("fix"),
                _has(AfterCheckRow).label("holds"),
            )
            .where(closed_between(first, last))
            .order_by(ClosingRow.job_id)
        )
        return tuple(RecordLine(**row) for row in self._connection.execute(query).mappings())

    def tried(self, first: date, last: date) -> tuple[TriedLine, ...]:
        """Return the parts that did not cure in the jobs closed from ``first`` to ``last``."""
        query = (
            select(TriedRow.job_id, TriedRow.part, TriedRow.cost_cents, TriedRow.minutes)
            .join(ClosingRow, ClosingRow.job_id == TriedRow.job_id)
            .where(closed_between(first, last))
            .order_by(TriedRow.job_id, TriedRow.ordinal)
        )
        return tuple(
            TriedLine(job=job, part=part, cost_cents=cents, minutes=minutes)
            for job, part, cents, minutes in self._connection.execute(query)
        )

    def maybe_left(
        self, first: date, last: date, *, repaired: Collection[str], undone: Collection[FixKind]
    ) -> tuple[LeftLine, ...]:
        """Return the jobs closed in these days whose repair may have been left undone, by id.

        Parameters
        ----------
        first, last : date
            Both included.
        repaired : collection of str
            Ends that say that the car was repaired.
        undone : collection of FixKind
            What leaves the fault in the car, though the end may say otherwise.
        """
        kinds = [str(kind) for kind in undone]
        query = (
            select(ClosingRow.job_id, ClosingRow.fix, ClosingRow.until, _has(ProofRow))
            .where(
                closed_between(first, last),
                or_(
                    ClosingRow.end.not_in(tuple(repaired)),
                    ClosingRow.fix.in_(kinds),
                    _has(OptionRow, OptionRow.kind.in_(kinds)),
                ),
            )
            .order_by(ClosingRow.job_id)
        )
        rows = self._connection.execute(query).all()
        options = self._options([job for job, *_ in rows])
        return tuple(
            LeftLine(
                id=job,
                fix=FixKind(fix) if fix else None,
                until=until,
                proven=proven,
                options=tuple(options.get(job, ())),
            )
            for job, fix, until, proven in rows
        )

    def _options(self, ids: Collection[str]) -> dict[str, list[Option]]:
        names = ("what", "kind", "price_cents", "remains", "risk", "chosen")
        query = (
            select(OptionRow.job_id, *(getattr(OptionRow, name) for name in names))
            .where(OptionRow.job_id.in_(tuple(ids)))
            .order_by(OptionRow.job_id, OptionRow.ordinal)
        )
        found: dict[str, list[Option]] = defaultdict(list)
        for job, *values in self._connection.execute(query):
            row = dict(zip(names, values, strict=True))
            row["kind"] = FixKind(row["kind"]) if row["kind"] else None
            found[job].append(Option(**row))
        return found

    def open_lines(self, day: date) -> tuple[OpenLine, ...]:
        """Return the jobs that were open at the end of ``day``, oldest first.

        What is not closed now counts as open since it was opened: that a job was closed and taken
        up again in between is not kept.
        """
        states = (JobState.OPEN.value, JobState.WAITING.value)
        later = select(ClosingRow.job_id).where(ClosingRow.closed > day)
        checked = exists().where(FindingRow.job_id == JobRow.id)
        query = (
            select(
                JobRow.id,
                JobRow.opened,
                ClosingRow.closed,
                JobRow.waits_for,
                JobRow.comeback_of,
                JobRow.vehicle_vin.label("vin"),
                JobRow.vehicle_year.label("year"),
                JobRow.vehicle_make.label("make"),
                JobRow.vehicle_model.label("model"),
                JobRow.vehicle_engine.label("engine"),
                checked.label("checked"),
            )
            .outerjoin(ClosingRow, ClosingRow.job_id == JobRow.id)
            .where(or_(JobRow.state.in_(states), JobRow.id.in_(later)), JobRow.opened <= day)
            .order_by(JobRow.opened, JobRow.id)
        )
        rows = self._connection.execute(query).mappings()
        return tuple(OpenLine(**row) for row in rows)

    def waits(self, ids: Collection[str]) -> tuple[tuple[str, datetime, str], ...]:
        """Return what the jobs of ``ids`` were said to wait for, and when (UTC), oldest first."""
        query = (
            select(HistoryRow.job_id, HistoryRow.at, HistoryRow.what)
            .where(HistoryRow.job_id.in_(tuple(ids)), HistoryRow.verb == "wait")
            .order_by(HistoryRow.seq)
        )
        rows = self._connection.execute(query)
        return tuple((job, at, what) for job, at, what in rows if job is not None)

    def read_again_by_person(self, first: date, last: date) -> tuple[tuple[int, int], ...]:
        """Return for each person who closed cases: with readings after the repair, and in all.

        Names stay in the store; the order is that of the numbers and says nothing of who it is.
        Cases that nobody closed here (loaded from files) are left out.
        """
        closer = (
            select(HistoryRow.who)
            .where(HistoryRow.job_id == ClosingRow.job_id, HistoryRow.verb == "close")
            .order_by(HistoryRow.seq.desc())
            .limit(1)
            .scalar_subquery()
        )
        again = _has(ReadingSetRow, ReadingSetRow.phase == Phase.AFTER.value)
        cases = (
            select(closer.label("who"), case((again, 1), else_=0).label("again"))
            .where(closed_between(first, last), ClosingRow.cause.is_not(None), _has(ProofRow))
            .subquery()
        )
        query = (
            select(func.sum(cases.c.again), func.count())
            .where(cases.c.who.is_not(None))
            .group_by(cases.c.who)
        )
        rows = self._connection.execute(query)
        return tuple(sorted((int(count), int(of)) for count, of in rows))


def _has(row_type: Any, *conditions: ColumnElement[bool]) -> Exists:
    """Say whether a closed job has such a row."""
    return exists().where(row_type.job_id == ClosingRow.job_id, *conditions)
