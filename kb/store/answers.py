"""What was answered just before a job was closed, and what each of its findings had told."""

import json
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from sqlalchemy import delete, insert, select

from kb.store.journal import Pen
from kb.store.tables import ClosingRow
from kb.store.week_rows import closed_between
from kb.store.week_tables import FindingGainRow, ShownAnswerRow

# A cause, None for "something else", with its chance.
Chance = tuple[str | None, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Gain:
    """What one finding told about the cause when it came.

    Attributes
    ----------
    ordinal : int
        The finding's place among those of the job.
    bits : float
        Entropy of the causes' chances before it less that after it; below 0 where it opened up
        more than it settled.
    lead_changed : bool
        Whether another cause led after it.
    """

    ordinal: int
    check: str
    subject: str | None
    outcome: str
    minutes: float | None
    bits: float
    lead_changed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownAnswer:
    """What stood there before the cause of a job was told; ``causes`` the likeliest first.

    ``first_check`` and ``first_subject`` were the next check when the job was written up, None
    where none was advised.
    """

    causes: tuple[Chance, ...]
    matches: tuple[str, ...] = ()
    nothing_like_it: bool = False
    first_check: str | None = None
    first_subject: str | None = None
    gains: tuple[Gain, ...] = ()


_GAIN_COLUMNS = (
    FindingGainRow.ordinal,
    FindingGainRow.check,
    FindingGainRow.subject,
    FindingGainRow.outcome,
    FindingGainRow.minutes,
    FindingGainRow.bits,
    FindingGainRow.lead_changed,
)


class ShownAnswers:
    """The answers that were kept at the closes of one unit of work."""

    def __init__(self, pen: Pen) -> None:
        self._pen = pen

    def keep(self, job_id: str, shown: ShownAnswer | None) -> None:
        """Keep what was answered at a close, in place of an earlier close of the same job.

        Parameters
        ----------
        shown : ShownAnswer or None
            None where nothing was answered: then nothing is kept of an earlier close either.
        """
        _, at = self._pen.require()
        run = self._pen.connection.execute
        for table in (FindingGainRow, ShownAnswerRow):
            run(delete(table).where(table.job_id == job_id))
        if shown is None:
            return
        row = {
            "job_id": job_id,
            "at": at,
            "causes": json.dumps(shown.causes, ensure_ascii=False),
            "matches": shown.matches,
            "nothing_like_it": shown.nothing_like_it,
            "first_check": shown.first_check,
            "first_subject": shown.first_subject,
        }
        run(insert(ShownAnswerRow).values(row))
        names = [column.key for column in _GAIN_COLUMNS]
        gains = [
            {"job_id": job_id, **{name: getattr(gain, name) for name in names}}
            for gain in shown.gains
        ]
        if gains:
            run(insert(FindingGainRow), gains)

    def closed(self, first: date, last: date) -> Mapping[str, ShownAnswer]:
        """Return by job what was answered at the closes from ``first`` to ``last``, oldest first.

        A job that was opened again is not among them.
        """
        gains = self._gains(first, last)
        query = (
            select(
                ShownAnswerRow.job_id,
                ShownAnswerRow.causes,
                ShownAnswerRow.matches,
                ShownAnswerRow.nothing_like_it,
                ShownAnswerRow.first_check,
                ShownAnswerRow.first_subject,
            )
            .join(ClosingRow, ClosingRow.job_id == ShownAnswerRow.job_id)
            .where(closed_between(first, last))
            .order_by(ClosingRow.closed, ShownAnswerRow.job_id)
        )
        return {
            job_id: ShownAnswer(
                causes=tuple((cause, chance) for cause, chance in json.loads(causes)),
                matches=matches,
                nothing_like_it=nothing,
                first_check=check,
                first_subject=subject,
                gains=tuple(gains.get(job_id, ())),
            )
            for job_id, causes, matches, nothing, check, subject in self._pen.connection.execute(
                query
            )
        }

    def _gains(self, first: date, last: date) -> Mapping[str, list[Gain]]:
        query = (
            select(FindingGainRow.job_id, *_GAIN_COLUMNS)
            .join(ClosingRow, ClosingRow.job_id == FindingGainRow.job_id)
            .where(closed_between(first, last))
            .order_by(FindingGainRow.job_id, FindingGainRow.ordinal)
        )
        found: dict[str, list[Gain]] = defaultdict(list)
        for row in self._pen.connection.execute(query).mappings():
            values = dict(row)
            found[values.pop("job_id")].append(Gain(**values))
        return found

    def matched(self, first: date, last: date) -> frozenset[str]:
        """Return the ids of the cases that were shown at the closes from ``first`` to ``last``."""
        query = (
            select(ShownAnswerRow.matches)
            .join(ClosingRow, ClosingRow.job_id == ShownAnswerRow.job_id)
            .where(closed_between(first, last))
        )
        rows = self._pen.connection.scalars(query)
        return frozenset(case for matches in rows for case in matches)

    def kept_since(self) -> date | None:
        """Return the day from which answers are kept, None before there is one."""
        query = select(ShownAnswerRow.at).order_by(ShownAnswerRow.at).limit(1)
        at = self._pen.connection.scalar(query)
        return at.date() if at else None
