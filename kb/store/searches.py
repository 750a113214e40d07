"""Searches that found nothing like what was asked; the week looks at these."""

from dataclasses import dataclass
from datetime import datetime, time
from typing import Final

from sqlalchemy import exists, insert, select

from kb.store.journal import Pen
from kb.store.shop_tables import SearchRow

# Characters kept of a search; the week needs to recognise it (our choice).
MAX_KEPT: Final = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class LostSearch:
    """What somebody asked, and when (UTC), that nothing here was like."""

    at: datetime
    who: str
    text: str
    vehicle: str


class SearchRepository:
    """The lost searches of one unit of work."""

    def __init__(self, pen: Pen) -> None:
        self._pen = pen

    def add(self, text: str, vehicle: str = "") -> None:
        """Keep a search, once for each person, text and day (our choice)."""
        who, at = self._pen.require()
        if not self.holds(text, who=who, at=at):
            row = {"at": at, "who": who, "text": _kept(text), "vehicle": _kept(vehicle)}
            self._pen.connection.execute(insert(SearchRow).values(row))

    def holds(self, text: str, *, who: str, at: datetime) -> bool:
        """Say whether ``who`` asked for that on the day of ``at`` (in UTC) before."""
        day = datetime.combine(at.date(), time(), tzinfo=at.tzinfo)
        same = (SearchRow.who == who) & (SearchRow.text == _kept(text)) & (SearchRow.at >= day)
        return bool(self._pen.connection.scalar(select(exists().where(same))))

    def since(self, moment: datetime) -> tuple[LostSearch, ...]:
        """Return the searches kept at ``moment`` (with a zone) or after it, oldest first."""
        query = (
            select(SearchRow.at, SearchRow.who, SearchRow.text, SearchRow.vehicle)
            .where(SearchRow.at >= moment)
            .order_by(SearchRow.id)
        )
        rows = self._pen.connection.execute(query).mappings()
        return tuple(LostSearch(**row) for row in rows)


def _kept(typed: str) -> str:
    # PostgreSQL keeps no NUL, and an address may hold one.
    return typed.replace("\0", "").strip()[:MAX_KEPT]
