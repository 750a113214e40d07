"""Tokens by which programs ask: what each may do, until when, and when it was used last."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import insert, select, update

from kb.errors import NotFoundError
from kb.store.columns import LARGEST_ID, own_columns
from kb.store.journal import HistoryRepository, Pen
from kb.store.shop_tables import ApiTokenRow


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredToken:
    """A program's token without the token itself, of which a hash alone is kept; times in UTC."""

    id: int
    name: str
    scopes: tuple[str, ...]
    created: datetime
    created_by: str
    ends: datetime
    last_used: datetime | None
    revoked: datetime | None

    def is_good(self, at: datetime) -> bool:
        """Say whether the token lets its program in at a moment."""
        return self.revoked is None and at < self.ends


_COLUMNS = [row for row in own_columns(ApiTokenRow) if row.name != "token_hash"]


class Tokens:
    """The tokens of one unit of work; making and taking back write one line of history each."""

    def __init__(self, pen: Pen, history: HistoryRepository) -> None:
        self._pen = pen
        self._history = history

    def all(self) -> tuple[StoredToken, ...]:
        """Return all tokens, the newest first."""
        query = select(*_COLUMNS).order_by(ApiTokenRow.id.desc())
        return tuple(StoredToken(**row) for row in self._pen.connection.execute(query).mappings())

    def get(self, token_id: int) -> StoredToken:
        """Return one token.

        Raises
        ------
        NotFoundError
            If there is none of that number.
        """
        query = select(*_COLUMNS).where(ApiTokenRow.id == token_id)
        known = token_id <= LARGEST_ID
        row = self._pen.connection.execute(query).mappings().one_or_none() if known else None
        if row is None:
            raise NotFoundError(
                f"expected the number of a token, got {token_id}; look at the list of tokens"
            )
        return StoredToken(**row)

    def find(self, token_hash: str) -> StoredToken | None:
        """Return the token of a hash, good or not; None where there is none."""
        query = select(*_COLUMNS).where(ApiTokenRow.token_hash == token_hash)
        row = self._pen.connection.execute(query).mappings().one_or_none()
        return None if row is None else StoredToken(**row)

    def add(self, name: str, token_hash: str, *, scopes: Sequence[str], ends: datetime) -> int:
        """Add a token and return its number."""
        who, at = self._pen.require()
        row = {
            "name": name,
            "token_hash": token_hash,
            "scopes": tuple(scopes),
            "created": at,
            "created_by": who,
            "ends": ends,
            "last_used": None,
            "revoked": None,
        }
        query = insert(ApiTokenRow).values(row).returning(ApiTokenRow.id)
        token_id = self._pen.connection.scalars(query).one()
        self._history.add("token made", None, f"{name}: {', '.join(scopes)}")
        return token_id

    def touch(self, token_id: int) -> None:
        """Note that a token is used now."""
        _, at = self._pen.require()
        self._set(token_id, last_used=at)

    def revoke(self, token_id: int) -> None:
        """Take a token back; one that was taken back stays so, with its moment."""
        _, at = self._pen.require()
        found = self.get(token_id)
        if found.revoked is None:
            self._set(token_id, revoked=at)
            self._history.add("token taken back", None, found.name)

    def _set(self, token_id: int, **values: datetime) -> None:
        query = update(ApiTokenRow).where(ApiTokenRow.id == token_id).values(**values)
        self._pen.connection.execute(query)
