"""Reviews by week: claimed by one process, counted, then kept."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final
from uuid import uuid4

from sqlalchemy import bindparam, delete, insert, select, update

from kb.store.asked import Asked
from kb.store.journal import Pen
from kb.store.week_tables import ReviewRow

# A claim that is older was left by a process that died; counting takes seconds (our choice).
CLAIM_LIFE: Final = timedelta(minutes=2)
_REVIEW: Final = Asked(
    select(ReviewRow.made_at, ReviewRow.body).where(ReviewRow.week == bindparam("week"))
)


@dataclass(frozen=True, slots=True, kw_only=True)
class KeptReview:
    """A review that was counted: its week's name, when (UTC), and its JSON text."""

    week: str
    made_at: datetime
    body: str


class Reviews:
    """The reviews of one unit of work."""

    def __init__(self, pen: Pen) -> None:
        self._pen = pen

    def get(self, week: str) -> KeptReview | None:
        """Return the review of a week, None where none is counted yet."""
        made_at, body = _REVIEW.one(self._pen.connection, week=week) or (None, None)
        if made_at is None or body is None:
            return None
        return KeptReview(week=week, made_at=made_at, body=body)

    def weeks(self) -> tuple[str, ...]:
        """Return the names of the weeks that are counted, newest first."""
        query = select(ReviewRow.week).where(ReviewRow.body.is_not(None))
        return tuple(self._pen.connection.scalars(query.order_by(ReviewRow.week.desc())))

    def claim(self, week: str, *, anew: bool = False) -> str | None:
        """Return a claim to count a week, None where somebody else counts it or it is counted.

        Parameters
        ----------
        anew : bool
            Claims a week that is counted already, too.
        """
        _, at = self._pen.require()
        row = self._pen.connection.execute(
            select(ReviewRow.claimed_at, ReviewRow.made_at).where(ReviewRow.week == week)
        ).one_or_none()
        claim = uuid4().hex
        mine = {"claim": claim, "claimed_at": at}
        if row is None:
            empty = {"week": week, "made_at": None, "body": None}
            self._pen.connection.execute(insert(ReviewRow).values(empty | mine))
            return claim
        busy = row.made_at is None or row.made_at < row.claimed_at
        # A clock that was set back leaves claims of days to come; they are as old as those before.
        if (busy and abs(at - row.claimed_at) < CLAIM_LIFE) or not (busy or anew):
            return None
        self._pen.connection.execute(update(ReviewRow).where(ReviewRow.week == week).values(**mine))
        return claim

    def keep(self, week: str, claim: str, body: str) -> bool:
        """Keep a counted review; False where the claim was lost to another meanwhile."""
        _, at = self._pen.require()
        done = self._pen.connection.execute(
            update(ReviewRow)
            .where((ReviewRow.week == week) & (ReviewRow.claim == claim))
            .values(made_at=at, body=body)
        )
        return done.rowcount == 1

    def release(self, week: str, claim: str) -> bool:
        """Give a claim back without a review; False where it was lost to another meanwhile.

        What was kept before stays.
        """
        mine = (ReviewRow.week == week) & (ReviewRow.claim == claim)
        never = self._pen.connection.execute(
            delete(ReviewRow).where(mine & ReviewRow.made_at.is_(None))
        )
        kept = self._pen.connection.execute(
            update(ReviewRow).where(mine).values(claimed_at=ReviewRow.made_at)
        )
        return never.rowcount + kept.rowcount == 1
