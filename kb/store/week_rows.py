"""Closed jobs as the week counts them: few columns of many jobs, one query."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any, Final, TypeVar

from sqlalchemy import ColumnElement, Result, exists, func, select

from kb.case.model import Job, Origin, Phase, Polarity
from kb.case.parts import FittedPart
from kb.case.standing import ELSEWHERE
from kb.store.journal import Pen
from kb.store.loading import load_jobs
from kb.store.tables import (
    ClosingRow,
    FindingRow,
    FittedPartRow,
    JobRow,
    LineRow,
    ReadingRow,
    ReadingSetRow,
    SymptomRow,
)

T = TypeVar("T")
# What another shop did is no work of this one.
_ELSEWHERE: Final = tuple(sorted(ELSEWHERE))


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosedLine:
    """What the week counts of one closed job; ``cause`` as it was written."""

    id: str
    opened: date
    closed: date
    system: str | None
    cause: str | None
    end: str
    held: bool
    overturned_by: str | None
    comeback_of: str | None
    fix: str | None
    vin: str | None
    year: int | None
    make: str | None
    model: str | None
    engine: str | None

    @property
    def platform(self) -> tuple[str, str, str]:
        """Make, model and engine; empty where not written down."""
        return (self.make or "", self.model or "", self.engine or "")

    @property
    def car(self) -> str:
        """Return year, make, model and engine, as far as written down."""
        return car_name(self.year, *self.platform)


def car_name(*parts: int | str | None) -> str:
    """Return what is known of year, make, model and engine in one line.

    Examples
    --------
    >>> car_name(2014, "Dunmarrow", "Packhorse", None)
    '2014 Dunmarrow Packhorse'
    """
    return " ".join(str(part) for part in parts if part)


@dataclass(frozen=True, slots=True, kw_only=True)
class Comeback:
    """A job, open ones too, whose car came back after the job ``of``; ``cause`` as written.

    ``closed`` and ``cause`` are None where it was not closed by the day asked for.
    """

    id: str
    of: str
    opened: date
    closed: date | None
    cause: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingLine:
    """One value that was read on a closed job, in the canonical unit of ``quantity``."""

    job: str
    quantity: str
    value: float
    system: str | None
    make: str | None
    model: str | None
    engine: str | None


class WeekRows:
    """The jobs of some weeks of one unit of work."""

    def __init__(self, pen: Pen) -> None:
        self._connection = pen.connection

    def lines(self, first: date, last: date) -> tuple[ClosedLine, ...]:
        """Return the jobs closed from ``first`` to ``last``, both included, oldest first."""
        return self._lines(closed_between(first, last))

    def lines_of(self, ids: Iterable[str]) -> tuple[ClosedLine, ...]:
        """Return the closed ones among the jobs of ``ids``, oldest first."""
        return self._lines(JobRow.id.in_(tuple(ids)))

    def _lines(self, chosen: ColumnElement[bool]) -> tuple[ClosedLine, ...]:
        query = (
            select(
                JobRow.id,
                JobRow.opened,
                ClosingRow.closed,
                JobRow.system,
                ClosingRow.cause,
                ClosingRow.end,
                ClosingRow.held,
                ClosingRow.overturned_by,
                JobRow.comeback_of,
                ClosingRow.fix,
                JobRow.vehicle_vin.label("vin"),
                JobRow.vehicle_year.label("year"),
                JobRow.vehicle_make.label("make"),
                JobRow.vehicle_model.label("model"),
                JobRow.vehicle_engine.label("engine"),
            )
            .join(ClosingRow, ClosingRow.job_id == JobRow.id)
            .where(chosen)
            .order_by(ClosingRow.closed, JobRow.id)
        )
        return _as(ClosedLine, self._connection.execute(query))

    def closed(self, first: date, last: date) -> tuple[Job, ...]:
        """Return the whole jobs closed from ``first`` to ``last``, in the order of their ids."""
        ids = select(ClosingRow.job_id).where(closed_between(first, last))
        return load_jobs(self._connection, JobRow.id.in_(ids))

    def minutes(self, first: date, last: date) -> tuple[tuple[str, str, float], ...]:
        """Return job, check and minutes of each finding that has them, by day of the close."""
        query = (
            select(FindingRow.job_id, FindingRow.check, FindingRow.minutes)
            .join(ClosingRow, ClosingRow.job_id == FindingRow.job_id)
            .where(closed_between(first, last) & FindingRow.minutes.is_not(None))
            .order_by(FindingRow.job_id, FindingRow.ordinal)
        )
        rows = self._connection.execute(query).all()
        return tuple((job, check, took) for job, check, took in rows if took is not None)

    def cases_before(self, day: date) -> Mapping[str, str]:
        """Return the cause by job of the cases closed before ``day`` that still stand, oldest first.

        Invented jobs, which no memory holds, are left out.
        """
        query = (
            select(ClosingRow.job_id, ClosingRow.cause)
            .join(JobRow, JobRow.id == ClosingRow.job_id)
            .where((ClosingRow.closed < day) & (JobRow.origin != Origin.INVENTED.value))
            .where(ClosingRow.cause.is_not(None) & ClosingRow.overturned_by.is_(None))
            .order_by(ClosingRow.closed, ClosingRow.job_id)
        )
        return {key: cause for key, cause in self._connection.execute(query) if cause}

    def said(self, first: date, last: date) -> tuple[str, ...]:
        """Return what the customer said and what was typed, of each job closed in these days."""
        closed = select(JobRow.id, JobRow.complaint_said).join(
            ClosingRow, ClosingRow.job_id == JobRow.id
        )
        lines = select(LineRow.job_id, LineRow.text).join(
            ClosingRow, ClosingRow.job_id == LineRow.job_id
        )
        texts: dict[str, list[str]] = defaultdict(list)
        for query in (closed, lines):
            for job, text in self._connection.execute(query.where(closed_between(first, last))):
                texts[job].append(text)
        return tuple("\n".join(dict.fromkeys(texts[job])) for job in sorted(texts))

    def readings(
        self, first: date, last: date, *, phase: Phase, quantities: Collection[str]
    ) -> tuple[ReadingLine, ...]:
        """Return the values of some quantities, read in one phase on jobs closed in these days.

        Bounds ("over 5") and words ("open") are left out.
        """
        query = (
            select(
                ReadingRow.job_id.label("job"),
                ReadingRow.quantity,
                ReadingRow.canonical.label("value"),
                JobRow.system,
                JobRow.vehicle_make.label("make"),
                JobRow.vehicle_model.label("model"),
                JobRow.vehicle_engine.label("engine"),
            )
            .join(
                ReadingSetRow,
                (ReadingSetRow.job_id == ReadingRow.job_id)
                & (ReadingSetRow.ordinal == ReadingRow.parent),
            )
            .join(JobRow, JobRow.id == ReadingRow.job_id)
            .join(ClosingRow, ClosingRow.job_id == ReadingRow.job_id)
            .where(closed_between(first, last), ReadingSetRow.phase == phase.value)
            .where(ReadingRow.quantity.in_(tuple(quantities)), ReadingRow.word.is_(None))
            .where(ReadingRow.canonical.is_not(None))
            .order_by(ReadingRow.job_id, ReadingRow.parent, ReadingRow.ordinal)
        )
        return _as(ReadingLine, self._connection.execute(query))

    def first_closed(self) -> date | None:
        """Return the day of the oldest close here, None before there is one."""
        here = closed_between(date.min, date.max)
        query = select(ClosingRow.closed).where(here).order_by(ClosingRow.closed).limit(1)
        return self._connection.scalar(query)

    def first_opened(self) -> date | None:
        """Return the day on which the oldest job came in, None before there is one."""
        here = JobRow.origin.not_in(_ELSEWHERE)
        return self._connection.scalar(select(func.min(JobRow.opened)).where(here))

    def any_opened_before(self, day: date) -> bool:
        """Return whether a job came in before ``day``; reads no further than to the first one."""
        earlier = exists().where(JobRow.origin.not_in(_ELSEWHERE), JobRow.opened < day)
        return bool(self._connection.scalar(select(earlier)))

    def invented(self) -> tuple[int, date | None]:
        """Return how many jobs are invented ones, and the day on which the first was opened."""
        query = select(func.count(), func.min(JobRow.opened))
        found = self._connection.execute(query.where(JobRow.origin == Origin.INVENTED.value)).one()
        return found[0], found[1]

    def back_in(self, ids: Iterable[str]) -> tuple[Job, ...]:
        """Return the jobs, open ones too, that are comebacks of those of ``ids``."""
        query = JobRow.comeback_of.in_(tuple(ids))
        return load_jobs(self._connection, query)

    def comebacks(self, last: date) -> tuple[Comeback, ...]:
        """Return the comebacks opened by ``last``, oldest first, as they stood on that day."""
        query = (
            select(
                JobRow.id,
                JobRow.comeback_of.label("of"),
                JobRow.opened,
                ClosingRow.closed,
                ClosingRow.cause,
            )
            .outerjoin(ClosingRow, (ClosingRow.job_id == JobRow.id) & (ClosingRow.closed <= last))
            .where(JobRow.comeback_of.is_not(None) & (JobRow.opened <= last))
            .order_by(JobRow.opened, JobRow.id)
        )
        return _as(Comeback, self._connection.execute(query))

    def symptoms(self, first: date, last: date) -> tuple[tuple[str, str], ...]:
        """Return job and concept of each symptom that was there, of the jobs closed in those days."""
        query = (
            select(SymptomRow.job_id, SymptomRow.concept)
            .join(ClosingRow, ClosingRow.job_id == SymptomRow.job_id)
            .where(closed_between(first, last))
            .where(SymptomRow.concept.is_not(None) & (SymptomRow.polarity == Polarity.YES.value))
            .distinct()
            .order_by(SymptomRow.job_id, SymptomRow.concept)
        )
        return tuple((job, str(concept)) for job, concept in self._connection.execute(query))

    def parts(self, first: date, last: date) -> tuple[tuple[str, FittedPart], ...]:
        """Return job and part of each part fitted in the jobs closed in those days."""
        query = (
            select(
                FittedPartRow.job_id,
                FittedPartRow.part,
                FittedPartRow.supplier,
                FittedPartRow.lot,
            )
            .join(ClosingRow, ClosingRow.job_id == FittedPartRow.job_id)
            .where(closed_between(first, last))
            .order_by(FittedPartRow.job_id, FittedPartRow.ordinal)
        )
        rows = self._connection.execute(query).all()
        return tuple(
            (job, FittedPart(part=part, supplier=supplier, lot=lot))
            for job, part, supplier, lot in rows
        )


def _as(kind: type[T], result: Result[Any]) -> tuple[T, ...]:
    """Return rows as values of a kind; read at once, which takes half the time of one by one."""
    names = tuple(result.keys())
    return tuple(kind(**dict(zip(names, row, strict=True))) for row in result.all())


def closed_between(first: date, last: date) -> ColumnElement[bool]:
    """Return the condition that a job was closed here from ``first`` to ``last``, both included."""
    elsewhere = select(JobRow.id).where(JobRow.origin.in_(_ELSEWHERE))
    within = (ClosingRow.closed >= first) & (ClosingRow.closed <= last)
    return within & ClosingRow.job_id.not_in(elsewhere)
