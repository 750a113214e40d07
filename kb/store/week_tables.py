"""The tables of the week: what was answered at a close, reviews, decisions, notes of the shop.

Like ``kb.store.tables``: times in UTC, dates as ISO dates, words of closed lists as plain text.
"""

from datetime import date, datetime

from sqlalchemy.orm import Mapped, mapped_column

from kb.store.columns import Base, job_key
from kb.store.seals import Sealed


class ShownAnswerRow(Sealed, Base):
    """What stood on the page when a job was closed, before its cause was told.

    ``causes`` is a JSON list of [cause or null, chance], the likeliest first; ``matches`` are the
    ids of the cases that were shown; ``first_check`` was the next check when it was written up.
    """

    __tablename__ = "shown_answers"

    job_id: Mapped[str] = job_key()
    at: Mapped[datetime] = mapped_column(index=True)
    causes: Mapped[str]
    matches: Mapped[tuple[str, ...]]
    nothing_like_it: Mapped[bool]
    first_check: Mapped[str | None]
    first_subject: Mapped[str | None]


class FindingGainRow(Sealed, Base):
    """What a finding told about the cause when it came: in bits, and whether the leader changed."""

    __tablename__ = "finding_gains"

    job_id: Mapped[str] = job_key()
    ordinal: Mapped[int] = mapped_column(primary_key=True)
    check: Mapped[str]
    subject: Mapped[str | None]
    outcome: Mapped[str]
    minutes: Mapped[float | None]
    bits: Mapped[float]
    lead_changed: Mapped[bool]


class ReviewRow(Sealed, Base):
    """The review of one ISO week; ``body`` is a JSON object, NULL until whoever claimed it is done.

    ``claim`` is a random word of who counts it, so that two processes never both do.
    """

    __tablename__ = "reviews"

    week: Mapped[str] = mapped_column(primary_key=True)
    claim: Mapped[str]
    claimed_at: Mapped[datetime]
    made_at: Mapped[datetime | None]
    body: Mapped[str | None]


class DecisionRow(Sealed, Base):
    """What the shop decided about a row of a week; ``row_key`` finds the row in other weeks.

    ``said`` is the row in words as it stood; ``state`` is open, done or dropped.
    """

    __tablename__ = "decisions"
    __table_args__ = ({"sqlite_autoincrement": True},)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    week: Mapped[str] = mapped_column(index=True)
    row_key: Mapped[str]
    said: Mapped[str]
    what: Mapped[str]
    owner: Mapped[str]
    due: Mapped[date]
    state: Mapped[str] = mapped_column(index=True)
    outcome: Mapped[str]
    at: Mapped[datetime]
    who: Mapped[str]
    settled_at: Mapped[datetime | None]


class ShopNoteRow(Sealed, Base):
    """A page of Markdown about a pattern; what is not NULL must fit a job for it to be shown there.

    ``body_html`` is computed from ``body`` at every write; ``active`` is False once taken down.
    """

    __tablename__ = "shop_notes"
    __table_args__ = ({"sqlite_autoincrement": True},)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    week: Mapped[str | None]
    row_key: Mapped[str | None]
    title: Mapped[str]
    body: Mapped[str]
    body_html: Mapped[str]
    system: Mapped[str | None]
    cause: Mapped[str | None]
    symptom: Mapped[str | None]
    make: Mapped[str | None]
    model: Mapped[str | None]
    active: Mapped[bool]
    revision: Mapped[int]
    at: Mapped[datetime]
    who: Mapped[str]
