"""Pieces of a job's text that were asked back and are settled, so that nobody asks again."""

from typing import Final

from sqlalchemy import bindparam, delete, insert, select

from kb.store.asked import Asked
from kb.store.journal import Pen
from kb.store.shop_tables import SettledRow

_OF_JOB: Final = Asked(select(SettledRow.text).where(SettledRow.job_id == bindparam("of")))


class SettledPieces:
    """The settled pieces of all jobs, by their text as typed."""

    def __init__(self, pen: Pen) -> None:
        self._pen = pen

    def add(self, job_id: str, text: str) -> None:
        """Note that the piece ``text`` of a job is settled; a second time changes nothing."""
        self._pen.require()
        if text not in self.of(job_id):
            row = {"job_id": job_id, "text": text}
            self._pen.connection.execute(insert(SettledRow).values(row))

    def remove(self, job_id: str, text: str) -> None:
        """Ask the piece ``text`` of a job back again."""
        self._pen.require()
        found = (SettledRow.job_id == job_id) & (SettledRow.text == text)
        self._pen.connection.execute(delete(SettledRow).where(found))

    def of(self, job_id: str) -> frozenset[str]:
        """Return the texts of a job's settled pieces."""
        return frozenset(text for (text,) in _OF_JOB.rows(self._pen.connection, of=job_id))
