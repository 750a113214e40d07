"""What was written since the closed jobs were fitted, laid over them instead of fitting all anew.

What was counted stays as it was fitted until the next fit; the newest cases are found, shown and
vote at once.
"""

import hashlib
from dataclasses import asdict, dataclass
from typing import Any, Final, Self

from kb.case.model import Job, JobState, Origin
from kb.store.journal import HistoryLine
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.fitted import Fitted
from kb.workflow.suggest import witness_features

# Closed jobs below which all are fitted anew after a write: a second for so many (our choice).
FOLLOWED_FROM: Final = 500
# Written jobs that are followed at most: by then a tenth of a shop of 10,000 is new (our choice).
MOST_FOLLOWED: Final = 1_000
_MOST_TOUCHED: Final = 10 * MOST_FOLLOWED
# Share of what was fitted that may be new before it is time to fit again (our choice).
SHARE_FOLLOWED: Final = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """What the closed jobs were read from: their state, and the newest line of the history."""

    state: str
    seq: int = 0
    line: str = ""

    @classmethod
    def of(cls, unit: UnitOfWork) -> Self:
        """Return what a unit of work sees."""
        seq = unit.history.last_seq()
        return cls(state=unit.state(), seq=seq, line=_digest(unit.history.line(seq)))

    def as_values(self) -> dict[str, Any]:
        """Return it for a file."""
        return asdict(self)

    def comes_before(self, unit: UnitOfWork) -> bool:
        """Return whether what ``unit`` sees grew out of it: another shop's never did."""
        return self.line != "" and _digest(unit.history.line(self.seq)) == self.line


def _digest(line: HistoryLine | None) -> str:
    if line is None:
        return ""
    told = (line.seq, line.at.isoformat(), line.who, line.verb, line.job_id, line.what)
    return hashlib.sha256(repr(told).encode()).hexdigest()


def followed(unit: UnitOfWork, known: Fitted, source: Source) -> Fitted | None:
    """Return what was fitted with what was written since, None where all should be fitted anew.

    Parameters
    ----------
    unit : UnitOfWork
        Which reads.
    known : Fitted
        Fitted from an earlier state, or followed from one.
    source : Source
        Of ``unit``.
    """
    if known.state == source.state:
        return known
    if len(known.index) < FOLLOWED_FROM or not known.source.comes_before(unit):
        return None
    touched = unit.history.touched_since(known.source.seq)
    written = unit.jobs.some(touched) if len(touched) <= _MOST_TOUCHED else ()
    jobs = [job for job in written if _is_witness(job)]
    # Most of what is written is about open jobs.
    closed = {job.id for job in jobs} | {job_id for job_id in touched if known.holds(job_id)}
    if len(touched) > _MOST_TOUCHED or len(closed) + known.later > MOST_FOLLOWED:
        return None
    words = known.model.words
    cases = [witness_features(job, words, known.altitude_m) for job in jobs]
    return known.with_later(source, cases, closed)


def _is_witness(job: Job) -> bool:
    return job.state is JobState.CLOSED and job.origin is not Origin.INVENTED


def is_due(known: Fitted) -> bool:
    """Return whether it is time to fit again: much is new, or a cause that was not known."""
    return known.later > SHARE_FOLLOWED * len(known.index) or bool(known.new_causes)
