"""Who supplied the parts that were fitted, as the shop wrote them, the newest first."""

from typing import Final

from sqlalchemy import select

from kb.store.journal import Pen
from kb.store.tables import ClosingRow, FittedPartRow

# Suppliers that are offered, and the newest closed jobs they are read from: a shop has a few dozen,
# and those that it no longer buys from should not stand in the way (our choice).
MOST: Final = 50
LOOKED_AT: Final = 1000


class Suppliers:
    """The suppliers of one unit of work."""

    def __init__(self, pen: Pen) -> None:
        self._connection = pen.connection

    def newest(self) -> tuple[str, ...]:
        """Return the suppliers of the newest closed jobs, each once, the latest first."""
        newest = (
            select(ClosingRow.job_id, ClosingRow.closed)
            .order_by(ClosingRow.closed.desc(), ClosingRow.job_id.desc())
            .limit(LOOKED_AT)
            .subquery()
        )
        query = (
            select(FittedPartRow.supplier)
            .join(newest, newest.c.job_id == FittedPartRow.job_id)
            .where(FittedPartRow.supplier.is_not(None))
            .order_by(newest.c.closed.desc(), newest.c.job_id.desc(), FittedPartRow.ordinal)
        )
        found = dict.fromkeys(name for name in self._connection.scalars(query) if name)
        return tuple(found)[:MOST]
