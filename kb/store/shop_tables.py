"""The tables beside the jobs: people, the shop's own words, photos of jobs, sent forms, searches.

Like ``kb.store.tables``: money in cents, times in UTC, words of closed lists as plain text.
"""

from datetime import datetime

from sqlalchemy import ForeignKey
from sqlalchemy.orm import Mapped, mapped_column

from kb.store.columns import Base, job_key
from kb.store.seals import Sealed


class PersonRow(Sealed, Base):
    """Somebody who signs in; a hash is NULL until a password or PIN was chosen.

    ``totp_secret`` (RFC 6238, base 32) is NULL without a second factor; ``totp_step`` is the time
    step whose code was taken last, so that no code is taken twice.
    """

    __tablename__ = "people"
    __table_args__ = ({"sqlite_autoincrement": True},)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    name: Mapped[str] = mapped_column(unique=True)
    role: Mapped[str]
    password_hash: Mapped[str | None]
    pin_hash: Mapped[str | None]
    active: Mapped[bool]
    created: Mapped[datetime]
    totp_secret: Mapped[str | None]
    totp_step: Mapped[int | None]


class ApiTokenRow(Sealed, Base):
    """A token of a program that asks through the API, by its hash; ``scopes`` say what it may."""

    __tablename__ = "api_tokens"
    __table_args__ = ({"sqlite_autoincrement": True},)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    name: Mapped[str]
    token_hash: Mapped[str] = mapped_column(unique=True)
    scopes: Mapped[tuple[str, ...]]
    created: Mapped[datetime]
    created_by: Mapped[str]
    ends: Mapped[datetime]
    last_used: Mapped[datetime | None]
    revoked: Mapped[datetime | None]


class SessionRow(Base):
    """A signed-in browser, by the hash of its token; ``shared`` where a tablet has several hands.

    ``person_id`` is NULL on a shared tablet while nobody has said who holds it.
    """

    __tablename__ = "sessions"

    token_hash: Mapped[str] = mapped_column(primary_key=True)
    person_id: Mapped[int | None] = mapped_column(
        ForeignKey("people.id", ondelete="CASCADE"), index=True
    )
    shared: Mapped[bool]
    created: Mapped[datetime]
    last_seen: Mapped[datetime]
    ends: Mapped[datetime]


class SignInLinkRow(Base):
    """A link that signs in once, by the hash of its token.

    With ``person_id`` it is that person's; without, whoever opens it becomes a new one of ``role``.
    """

    __tablename__ = "sign_in_links"

    token_hash: Mapped[str] = mapped_column(primary_key=True)
    person_id: Mapped[int | None] = mapped_column(
        ForeignKey("people.id", ondelete="CASCADE"), index=True
    )
    role: Mapped[str | None]
    ends: Mapped[datetime]
    used: Mapped[datetime | None]


class FailedSignInRow(Base):
    """One failed sign-in: counted by name and by address before anything is hashed."""

    __tablename__ = "failed_sign_ins"
    __table_args__ = ({"sqlite_autoincrement": True},)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    at: Mapped[datetime] = mapped_column(index=True)
    name: Mapped[str]
    address: Mapped[str]


class ShopTermRow(Sealed, Base):
    """A word that the shop added; ``body`` is a JSON object with the rest of the row.

    ``merged_into`` names the key of the same kind that now stands for it.
    """

    __tablename__ = "shop_terms"

    kind: Mapped[str] = mapped_column(primary_key=True)
    key: Mapped[str] = mapped_column(primary_key=True)
    name: Mapped[str]
    body: Mapped[str]
    merged_into: Mapped[str | None]
    at: Mapped[datetime]
    who: Mapped[str]


class UnreadRow(Sealed, Base):
    """A word of a job's text that was not understood."""

    __tablename__ = "unread_words"

    job_id: Mapped[str] = job_key()
    word: Mapped[str] = mapped_column(primary_key=True, index=True)
    at: Mapped[datetime]


class SettledRow(Sealed, Base):
    """A piece of a job's text that was asked back and is settled: not asked again."""

    __tablename__ = "settled_pieces"

    job_id: Mapped[str] = job_key()
    text: Mapped[str] = mapped_column(primary_key=True)


class SearchRow(Sealed, Base):
    """A search that found nothing like it; the week looks at these."""

    __tablename__ = "lost_searches"
    __table_args__ = ({"sqlite_autoincrement": True},)

    id: Mapped[int] = mapped_column(primary_key=True, autoincrement=True)
    at: Mapped[datetime] = mapped_column(index=True)
    who: Mapped[str]
    text: Mapped[str]
    vehicle: Mapped[str]


class PhotoRow(Sealed, Base):
    """A photo by the hash of its content; the bytes lie in a folder beside the database."""

    __tablename__ = "photos"

    content_hash: Mapped[str] = mapped_column(primary_key=True)
    media_type: Mapped[str]
    size_bytes: Mapped[int]


class JobPhotoRow(Sealed, Base):
    """A photo that belongs to a job; the bytes lie under their hash."""

    __tablename__ = "job_photos"

    job_id: Mapped[str] = job_key()
    ordinal: Mapped[int] = mapped_column(primary_key=True)
    content_hash: Mapped[str]
    caption: Mapped[str]


class SentFormRow(Sealed, Base):
    """A form that was taken, by the number that it was sent out with: a second sending is no new one.

    ``fingerprint`` is a hash of what it said, NULL where nobody asks whether it said the same;
    ``answer`` is what a program was told, so that it is told the same again.
    """

    __tablename__ = "sent_forms"

    form_id: Mapped[str] = mapped_column(primary_key=True)
    at: Mapped[datetime] = mapped_column(index=True)
    who: Mapped[str]
    job_id: Mapped[str | None]
    fingerprint: Mapped[str | None]
    answer: Mapped[str | None]


class EarlierStateRow(Sealed, Base):
    """A job as it stood at an earlier revision, as the text of its case file."""

    __tablename__ = "earlier_states"

    job_id: Mapped[str] = job_key()
    revision: Mapped[int] = mapped_column(primary_key=True)
    case_file: Mapped[str]
