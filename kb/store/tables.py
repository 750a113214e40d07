"""The tables; imported by ``kb.store`` and the migrations only.

A child row is found by its job's id and its ``ordinal``, its place in the job's tuple (the word
``position`` is taken: it says where on the car). Words of closed lists are kept as plain text, so
that a new word needs no migration. Money is in cents, dates are ISO dates, times are UTC.
"""

from datetime import date, datetime
from typing import Final

from sqlalchemy import CheckConstraint, ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from kb.store.columns import Base, job_key, parent_key
from kb.store.seals import Sealed

# The newest migration that this code knows; a test holds it to the migrations folder.
SCHEMA_REVISION: Final = "0004"


class JobRow(Sealed, Base):
    """A job; ``scan_modules`` is NULL where nobody scanned, ``body_html`` is made of ``body``."""

    __tablename__ = "jobs"

    id: Mapped[str] = mapped_column(primary_key=True)
    opened: Mapped[date]
    state: Mapped[str] = mapped_column(index=True)
    origin: Mapped[str] = mapped_column(index=True)
    system: Mapped[str | None]
    invoice: Mapped[str | None] = mapped_column(unique=True)
    waits_for: Mapped[str | None]
    comeback_of: Mapped[str | None] = mapped_column(index=True)
    body: Mapped[str]
    body_html: Mapped[str]
    vehicle_year: Mapped[int | None]
    vehicle_make: Mapped[str | None]
    vehicle_model: Mapped[str | None]
    vehicle_engine: Mapped[str | None]
    vehicle_transmission: Mapped[str | None]
    vehicle_vin: Mapped[str | None] = mapped_column(index=True)
    vehicle_family: Mapped[str | None]
    vehicle_odometer: Mapped[float | None]
    vehicle_odometer_unit: Mapped[str | None]
    vehicle_refrigerant: Mapped[str | None]
    complaint_said: Mapped[str]
    complaint_frequency: Mapped[str | None]
    complaint_since: Mapped[str | None]
    complaint_before_it: Mapped[str | None]
    scan_none_found: Mapped[bool | None]
    scan_modules: Mapped[tuple[str, ...] | None]
    content_hash: Mapped[str]
    revision: Mapped[int]


class LineRow(Base):
    """One line as somebody typed it."""

    __tablename__ = "lines"

    job_id: Mapped[str] = job_key()
    ordinal: Mapped[int] = mapped_column(primary_key=True)
    text: Mapped[str]


class FieldRow(Base):
    """One closed field of an imported record."""

    __tablename__ = "fields"

    job_id: Mapped[str] = job_key()
    ordinal: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str]
    value: Mapped[str]


class SymptomRow(Base):
    """One thing seen, heard, felt or smelt."""

    __tablename__ = "symptoms"

    job_id: Mapped[str] = job_key()
    ordinal: Mapped[int] = mapped_column(primary_key=True)
    text: Mapped[str]
    concept: Mapped[str | None]
    polarity: Mapped[str]
    position: Mapped[str | None]
    conditions: Mapped[tuple[str, ...]]
    not_conditions: Mapped[tuple[str, ...]]


class FindingRow(Base):
    """A check with its outcome."""

    __tablename__ = "findings"

    job_id: Mapped[str] = job_key()
    ordinal: Mapped[int] = mapped_column(primary_key=True)
    check: Mapped[str]
    outcome: Mapped[str]
    subject: Mapped[str | None]
    repeats: Mapped[int]
    minutes: Mapped[float | None]
    note: Mapped[str]


class ResponseColumns:
    """What an action changed; shared by the responses of symptoms and of findings."""

    job_id: Mapped[str] = mapped_column(primary_key=True)
    parent: Mapped[int] = mapped_column(primary_key=True)
    ordinal: Mapped[int] = mapped_column(primary_key=True)
    change: Mapped[str | None]
    action: Mapped[str | None]
    quantity: Mapped[str | None]
    position: Mapped[str | None]
    before_typed: Mapped[str | None]
    after_typed: Mapped[str | None]
    unit: Mapped[str | None]
    before: Mapped[float | None]
    after: Mapped[float | None]


class SymptomResponseRow(ResponseColumns, Base):
    """What changed a symptom."""

    __tablename__ = "symptom_responses"
    __table_args__ = parent_key("symptoms")


class FindingResponseRow(ResponseColumns, Base):
    """What an action changed during a check."""

    __tablename__ = "finding_responses"
    __table_args__ = parent_key("findings")


class ReadingSetRow(Base):
    """Readings taken under the same condition; ``finding`` counts the job's findings from 0."""

    __tablename__ = "reading_sets"

    job_id: Mapped[str] = job_key()
    ordinal: Mapped[int] = mapped_column(primary_key=True)
    phase: Mapped[str]
    state: Mapped[tuple[str, ...]]
    finding: Mapped[int | None]


class ReadingRow(Base):
    """A number with a quantity and a unit; ``canonical`` is in the quantity's canonical unit."""

    __tablename__ = "readings"
    __table_args__ = parent_key("reading_sets")

    job_id: Mapped[str] = mapped_column(primary_key=True)
    parent: Mapped[int] = mapped_column(primary_key=True)
    ordinal: Mapped[int] = mapped_column(primary_key=True)
    quantity: Mapped[str]
    typed: Mapped[str]
    unit: Mapped[str]
    canonical: Mapped[float | None]
    low: Mapped[float | None]
    high: Mapped[float | None]
    word: Mapped[str | None]
    position: Mapped[str | None]


class CodeRow(Base):
    """A trouble code."""

    __tablename__ = "codes"

    job_id: Mapped[str] = job_key()
    ordinal: Mapped[int] = mapped_column(primary_key=True)
    code: Mapped[str]
    module: Mapped[str | None]
    status: Mapped[str | None]


class TriedRow(Base):
    """A part or a piece of work that did not cure."""

    __tablename__ = "tried"

    job_id: Mapped[str] = job_key()
    ordinal: Mapped[int] = mapped_column(primary_key=True)
    part: Mapped[str]
    text: Mapped[str]
    cost_cents: Mapped[int | None]
    minutes: Mapped[float | None]


class ClosingRow(Base):
    """How a job ended; at most one a job."""

    __tablename__ = "closings"

    job_id: Mapped[str] = job_key()
    closed: Mapped[date] = mapped_column(index=True)
    end: Mapped[str]
    cause: Mapped[str | None] = mapped_column(index=True)
    second_cause: Mapped[str | None]
    fix: Mapped[str | None]
    fix_text: Mapped[str]
    until: Mapped[date | None]
    held: Mapped[bool]
    overturned_by: Mapped[str | None]
    lesson: Mapped[str]


def _closing_key() -> Mapped[str]:
    """Return the first half of the key of a row that belongs to a closing."""
    return mapped_column(ForeignKey("closings.job_id", ondelete="CASCADE"), primary_key=True)


class ProofRow(Base):
    """How the cause was shown."""

    __tablename__ = "proofs"

    job_id: Mapped[str] = _closing_key()
    ordinal: Mapped[int] = mapped_column(primary_key=True)
    method: Mapped[str]
    text: Mapped[str]
    photo: Mapped[str | None]


class FittedPartRow(Base):
    """A part that was fitted."""

    __tablename__ = "fitted_parts"

    job_id: Mapped[str] = _closing_key()
    ordinal: Mapped[int] = mapped_column(primary_key=True)
    part: Mapped[str]
    supplier: Mapped[str | None]
    lot: Mapped[str | None]


class OptionRow(Base):
    """One choice laid before the customer."""

    __tablename__ = "options"

    job_id: Mapped[str] = _closing_key()
    ordinal: Mapped[int] = mapped_column(primary_key=True)
    what: Mapped[str]
    kind: Mapped[str | None]
    price_cents: Mapped[int | None]
    remains: Mapped[str]
    risk: Mapped[str]
    chosen: Mapped[bool]


class AfterCheckRow(Base):
    """What showed that the fix holds."""

    __tablename__ = "after_checks"

    job_id: Mapped[str] = _closing_key()
    ordinal: Mapped[int] = mapped_column(primary_key=True)
    kind: Mapped[str]
    text: Mapped[str]


class HistoryRow(Sealed, Base):
    """One line for every write; ``job_id`` is no foreign key, so that history outlives a job."""

    __tablename__ = "history"
    __table_args__ = (Index(None, "job_id", "seq"), {"sqlite_autoincrement": True})

    seq: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    at: Mapped[datetime]
    who: Mapped[str]
    verb: Mapped[str]
    job_id: Mapped[str | None]
    what: Mapped[str]


class SettingRow(Sealed, Base):
    """One setting of the shop."""

    __tablename__ = "settings"

    key: Mapped[str] = mapped_column(primary_key=True)
    value: Mapped[str]


class GenerationRow(Base):
    """One row: ``number`` grows in every transaction that writes a job, ``last_job`` names jobs."""

    __tablename__ = "generation"
    __table_args__ = (CheckConstraint("id = 1", name="one_row"),)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=False)
    number: Mapped[int]
    last_job: Mapped[int]
