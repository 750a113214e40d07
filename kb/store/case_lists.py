"""Closed cases by what they are: system, vehicle, cause, proof and date, page by page."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from sqlalchemy import ColumnElement, Select, Text, bindparam, cast, func, literal, select

from kb.case.model import Origin, Vehicle
from kb.store.journal import Pen
from kb.store.kept_by_state import KeptByState
from kb.store.known_jobs import HASHES, known_jobs
from kb.store.tables import ClosingRow, JobRow, ProofRow

# Cases on one page of a list (our choice).
PAGE_SIZE: Final = 20
# Vehicle words that are looked at; more say nothing (our choice).
_MOST_WORDS: Final = 8
# Ids of all lists that are kept, some 60 bytes each, and how many a list itself stands for: paging
# and asking again under the same choices sort nothing (our choice).
_MOST_KEPT: Final = 50_000
_A_LIST: Final = 20
_KEPT: Final = KeptByState[Sequence[str]](_MOST_KEPT, lambda ids: len(ids) + _A_LIST)
# What every page asks is made once.
_ON_PAGE: Final = JobRow.id.in_(bindparam("jobs", expanding=True))
_HASHES: Final = HASHES.where(_ON_PAGE)
_LINES: Final = (
    select(
        JobRow.id,
        ClosingRow.closed,
        ClosingRow.cause,
        JobRow.complaint_said,
        JobRow.origin,
        JobRow.vehicle_year,
        JobRow.vehicle_make,
        JobRow.vehicle_model,
        JobRow.vehicle_engine,
    )
    .join(ClosingRow, ClosingRow.job_id == JobRow.id)
    .where(_ON_PAGE)
    .order_by(ClosingRow.closed.desc(), JobRow.id.desc())
)


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseFilter:
    """Which closed cases are wanted; None wants all.

    ``system_causes`` are the causes of ``system``: a job that was booked under none belongs to
    that of its cause. ``origins`` are where it may have come from. Each word of ``vehicle`` must stand in year, make, model, engine or family.
    Both dates are included.
    """

    system: str | None = None
    system_causes: tuple[str, ...] = ()
    vehicle: str | None = None
    cause: str | None = None
    method: str | None = None
    closed_from: date | None = None
    closed_to: date | None = None
    origins: tuple[Origin, ...] | None = None

    @property
    def active(self) -> bool:
        """True where anything is left out."""
        return any(
            value is not None
            for value in (
                self.system, self.vehicle, self.cause, self.method, self.closed_from,
                self.closed_to, self.origins,
            )
        )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseLine:
    """One closed case in a list; the answers draw on no invented one."""

    id: str
    closed: date
    cause: str | None
    said: str
    vehicle: Vehicle
    origin: Origin = Origin.SHOP


@dataclass(frozen=True, slots=True, kw_only=True)
class CasePage:
    """One page of a list, newest first; ``number`` counts from 1, ``total`` all cases.

    ``damaged`` are cases left out of the page because they changed on the disk.
    """

    lines: tuple[CaseLine, ...]
    number: int
    total: int
    damaged: tuple[str, ...] = ()

    @property
    def pages(self) -> int:
        """How many pages the list has, at least one."""
        return max(1, -(-self.total // PAGE_SIZE))


class CaseLists:
    """Lists of closed cases of one unit of work."""

    def __init__(self, pen: Pen) -> None:
        self._pen, self._connection = pen, pen.connection

    def ids(self, wanted: CaseFilter) -> frozenset[str]:
        """Return the ids of all cases that are wanted."""
        return frozenset(self._ordered(wanted))

    def _ordered(self, wanted: CaseFilter) -> Sequence[str]:
        """Return the ids of all cases that are wanted, newest first."""

        def read() -> tuple[str, ...]:
            query = _where(select(JobRow.id), wanted)
            query = query.order_by(ClosingRow.closed.desc(), JobRow.id.desc())
            return tuple(self._connection.scalars(query))

        return _KEPT.get(self._pen, wanted, read)

    def page(self, wanted: CaseFilter, number: int = 1) -> CasePage:
        """Return one page of the cases that are wanted; one past the end is the last one."""
        ids = self._ordered(wanted)
        total = len(ids)
        number = min(max(1, number), max(1, -(-total // PAGE_SIZE)))
        chosen = ids[(number - 1) * PAGE_SIZE : number * PAGE_SIZE]
        found = self._connection.execute(_LINES, {"jobs": chosen}).all()
        damaged: set[str] = set()
        hashes = self._connection.execute(_HASHES, {"jobs": chosen}).all()
        known_jobs(self._connection, hashes, damaged=damaged)
        lines = tuple(
            CaseLine(
                id=row.id,
                closed=row.closed,
                cause=row.cause,
                said=row.complaint_said,
                vehicle=Vehicle(
                    year=row.vehicle_year,
                    make=row.vehicle_make,
                    model=row.vehicle_model,
                    engine=row.vehicle_engine,
                ),
                origin=Origin(row.origin),
            )
            for row in found
            if row.id not in damaged
        )
        return CasePage(lines=lines, number=number, total=total, damaged=tuple(sorted(damaged)))


def _where(query: Select, wanted: CaseFilter) -> Select:  # type: ignore[type-arg]
    query = query.join(ClosingRow, ClosingRow.job_id == JobRow.id)
    return query.where(*_conditions(wanted))


def _conditions(wanted: CaseFilter) -> Iterator[ColumnElement[bool]]:
    if wanted.system is not None:
        by_cause = JobRow.system.is_(None) & ClosingRow.cause.in_(wanted.system_causes)
        yield (JobRow.system == wanted.system) | by_cause
    if wanted.cause is not None:
        yield (ClosingRow.cause == wanted.cause) | (ClosingRow.second_cause == wanted.cause)
    if wanted.method is not None:
        shown = (ProofRow.job_id == JobRow.id) & (ProofRow.method == wanted.method)
        yield select(ProofRow.job_id).where(shown).exists()
    if wanted.closed_from is not None:
        yield ClosingRow.closed >= wanted.closed_from
    if wanted.closed_to is not None:
        yield ClosingRow.closed <= wanted.closed_to
    if wanted.origins is not None:
        yield JobRow.origin.in_([origin.value for origin in wanted.origins])
    yield from _vehicle(wanted.vehicle or "")


def _vehicle(typed: str) -> Iterator[ColumnElement[bool]]:
    columns = (
        cast(JobRow.vehicle_year, Text),
        JobRow.vehicle_make,
        JobRow.vehicle_model,
        JobRow.vehicle_engine,
        JobRow.vehicle_family,
    )
    whole: ColumnElement[str] = literal("")
    for column in columns:
        whole = whole + literal(" ") + func.coalesce(column, "")
    for word in typed.split()[:_MOST_WORDS]:
        yield whole.icontains(word, autoescape=True)
