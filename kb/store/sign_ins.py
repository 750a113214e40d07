"""What lets a browser in: sessions, links that sign in once, and the failed tries."""

from dataclasses import dataclass
from datetime import datetime
from typing import Final

from sqlalchemy import ColumnElement, bindparam, delete, insert, select, update

from kb.store.asked import Asked
from kb.store.journal import Pen
from kb.store.shop_tables import FailedSignInRow, SessionRow, SignInLinkRow

_SESSION: Final = Asked(
    select(SessionRow.__table__).where(SessionRow.token_hash == bindparam("token"))
)


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredSession:
    """A signed-in browser, by the hash of its token; times in UTC."""

    token_hash: str
    person_id: int | None
    shared: bool
    created: datetime
    last_seen: datetime
    ends: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredLink:
    """A link that signs in once: as a person, or as a new one of ``role``."""

    token_hash: str
    person_id: int | None
    role: str | None
    ends: datetime
    used: datetime | None


class Sessions:
    """The sessions of one unit of work."""

    def __init__(self, pen: Pen) -> None:
        self._pen = pen

    def open(self, token_hash: str, person_id: int | None, *, shared: bool, ends: datetime) -> None:
        """Open a session; those that have ended go."""
        _, at = self._pen.require()
        self._pen.connection.execute(delete(SessionRow).where(SessionRow.ends <= at))
        row = {
            "token_hash": token_hash,
            "person_id": person_id,
            "shared": shared,
            "created": at,
            "last_seen": at,
            "ends": ends,
        }
        self._pen.connection.execute(insert(SessionRow).values(row))

    def find(self, token_hash: str) -> StoredSession | None:
        """Return a session, None where there is none of that hash."""
        row = next(iter(_SESSION.named(self._pen.connection, token=token_hash)), None)
        return None if row is None else StoredSession(**row)

    def of(self, person_id: int) -> tuple[StoredSession, ...]:
        """Return a person's sessions, the one seen last first."""
        return self._where(SessionRow.person_id == person_id)

    def shared(self) -> tuple[StoredSession, ...]:
        """Return the sessions of shared tablets, the one seen last first."""
        return self._where(SessionRow.shared.is_(True))

    def touch(self, token_hash: str, *, ends: datetime) -> None:
        """Note that a session was used now."""
        _, at = self._pen.require()
        self._set(SessionRow.token_hash == token_hash, last_seen=at, ends=ends)

    def let_go(self, token_hash: str) -> None:
        """Leave a shared tablet without anybody who holds it."""
        self._pen.require()
        self._set(SessionRow.token_hash == token_hash, person_id=None)

    def end(self, token_hash: str) -> None:
        """End one session."""
        self._pen.require()
        self._pen.connection.execute(delete(SessionRow).where(SessionRow.token_hash == token_hash))

    def end_all_of(self, person_id: int, *, but: str = "") -> None:
        """End a person's sessions, but for the one of hash ``but``; shared tablets stay shared."""
        self._pen.require()
        mine = (SessionRow.person_id == person_id) & (SessionRow.token_hash != but)
        self._pen.connection.execute(delete(SessionRow).where(mine & SessionRow.shared.is_(False)))
        self._set(mine, person_id=None)

    def _set(self, condition: ColumnElement[bool], **values: object) -> None:
        self._pen.connection.execute(update(SessionRow).where(condition).values(**values))

    def _where(self, condition: ColumnElement[bool]) -> tuple[StoredSession, ...]:
        query = select(SessionRow.__table__).where(condition).order_by(SessionRow.last_seen.desc())
        rows = self._pen.connection.execute(query).mappings()
        return tuple(StoredSession(**row) for row in rows)


class SignInLinks:
    """The links that sign in once, of one unit of work."""

    def __init__(self, pen: Pen) -> None:
        self._pen = pen

    def add(
        self,
        token_hash: str,
        *,
        ends: datetime,
        person_id: int | None = None,
        role: str | None = None,
    ) -> None:
        """Add a link; earlier ones for the same person, or the same role, are good no more."""
        self.withdraw(person_id=person_id, role=role)
        row = {"token_hash": token_hash, "person_id": person_id, "role": role, "ends": ends}
        self._pen.connection.execute(insert(SignInLinkRow).values(**row, used=None))

    def withdraw(self, *, person_id: int | None = None, role: str | None = None) -> None:
        """Take back the links of a person, or those for a new person of ``role``."""
        self._pen.require()
        whose = SignInLinkRow.person_id.is_not_distinct_from(person_id)
        same = whose & SignInLinkRow.role.is_not_distinct_from(role)
        self._pen.connection.execute(delete(SignInLinkRow).where(same))

    def find(self, token_hash: str) -> StoredLink | None:
        """Return a link, used or not; None where there is none of that hash."""
        query = select(SignInLinkRow.__table__).where(SignInLinkRow.token_hash == token_hash)
        row = self._pen.connection.execute(query).mappings().one_or_none()
        return None if row is None else StoredLink(**row)

    def use(self, token_hash: str) -> bool:
        """Use a link up; False where it was used before, has ended, or never was."""
        _, at = self._pen.require()
        good = (
            (SignInLinkRow.token_hash == token_hash)
            & SignInLinkRow.used.is_(None)
            & (SignInLinkRow.ends > at)
        )
        query = update(SignInLinkRow).where(good).values(used=at)
        return self._pen.connection.execute(query).rowcount == 1


class FailedSignIns:
    """The failed tries to sign in, of one unit of work."""

    def __init__(self, pen: Pen) -> None:
        self._pen = pen

    def add(self, name: str, address: str) -> None:
        """Note a try."""
        _, at = self._pen.require()
        # PostgreSQL keeps no NUL, and anybody may type one here.
        plain = {"name": name.replace("\0", ""), "address": address.replace("\0", "")}
        self._pen.connection.execute(insert(FailedSignInRow).values(at=at, **plain))

    def times(self, *, name: str, address: str | None = None) -> tuple[datetime, ...]:
        """Return when a name was tried, from one address or from everywhere, oldest first."""
        named = FailedSignInRow.name == name
        return self._times(
            named if address is None else named & (FailedSignInRow.address == address)
        )

    def times_from(self, address: str) -> tuple[datetime, ...]:
        """Return when an address tried, oldest first."""
        return self._times(FailedSignInRow.address == address)

    def forget(self, name: str, address: str) -> None:
        """Forget the tries of a name from one address."""
        self._pen.require()
        same = (FailedSignInRow.name == name) & (FailedSignInRow.address == address)
        self._pen.connection.execute(delete(FailedSignInRow).where(same))

    def forget_outside(self, first: datetime, last: datetime) -> None:
        """Forget all tries up to the first moment, and after the last."""
        self._pen.require()
        outside = (FailedSignInRow.at <= first) | (FailedSignInRow.at > last)
        self._pen.connection.execute(delete(FailedSignInRow).where(outside))

    def _times(self, condition: ColumnElement[bool]) -> tuple[datetime, ...]:
        query = select(FailedSignInRow.at).where(condition).order_by(FailedSignInRow.at)
        return tuple(self._pen.connection.scalars(query))
