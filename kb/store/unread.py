"""Words that nobody understood, by the job in whose text they stand."""

from collections.abc import Iterable
from datetime import datetime
from typing import Final

from sqlalchemy import bindparam, func, insert, select

from kb.store.asked import Asked
from kb.store.columns import table_of
from kb.store.journal import Pen
from kb.store.shop_tables import UnreadRow

# A run of words beyond this is kept word by word, a word beyond it not at all (our choice).
LONGEST: Final = 60
# Every text that is added runs these, so they are made once.
_ADD: Final = insert(table_of(UnreadRow))
_OF_JOB: Final = Asked(
    select(UnreadRow.word).where(UnreadRow.job_id == bindparam("of")).order_by(UnreadRow.word)
)


class UnreadWords:
    """The unread words of all jobs, one row a job and word."""

    def __init__(self, pen: Pen) -> None:
        self._pen = pen

    def add(self, job_id: str, words: Iterable[str]) -> None:
        """Note that ``words`` stand unread in a job; known ones keep their first time.

        Parameters
        ----------
        job_id : str
            A job that is stored.
        words : iterable of str
            As typed; kept in lower case with single blanks.
        """
        _, at = self._pen.require()
        known = set(self.of(job_id))
        new = [word for word in _plain_words(words) if word not in known]
        if new:
            rows = [{"job_id": job_id, "word": word, "at": at} for word in new]
            self._pen.connection.execute(_ADD, rows)

    def of(self, job_id: str) -> tuple[str, ...]:
        """Return the unread words of one job, in the order of the alphabet."""
        return tuple(str(word) for (word,) in _OF_JOB.rows(self._pen.connection, of=job_id))

    def counts(self) -> tuple[tuple[str, int, datetime], ...]:
        """Return each unread word with its number of jobs and when it last came (UTC).

        Those of most jobs come first, then the latest.
        """
        jobs, last = func.count(), func.max(UnreadRow.at)
        query = (
            select(UnreadRow.word, jobs, last)
            .group_by(UnreadRow.word)
            .order_by(jobs.desc(), last.desc(), UnreadRow.word)
        )
        return tuple((word, count, at) for word, count, at in self._pen.connection.execute(query))

    def between(self, first: datetime, end: datetime) -> tuple[tuple[str, str, datetime], ...]:
        """Return word, job and when for each that came from ``first`` on and before ``end``."""
        query = (
            select(UnreadRow.word, UnreadRow.job_id, UnreadRow.at)
            .where(UnreadRow.at >= first, UnreadRow.at < end)
            .order_by(UnreadRow.at, UnreadRow.job_id, UnreadRow.word)
        )
        return tuple((word, job, at) for word, job, at in self._pen.connection.execute(query))


def _plain_words(typed: Iterable[str]) -> tuple[str, ...]:
    found: dict[str, None] = {}
    for text in typed:
        words = text.lower().split()
        run = " ".join(words)
        found |= dict.fromkeys([run] if len(run) <= LONGEST else words)
    return tuple(word for word in found if 0 < len(word) <= LONGEST)
