"""What the memory says of the newest invented jobs, asked once, when they are made."""

from dataclasses import replace
from datetime import UTC, datetime, time
from typing import Final

from kb.case.iso_week import IsoWeek
from kb.case.model import Closing, Job, JobState, Origin, Phase
from kb.workflow.answers_at_close import shown_at_close
from kb.workflow.memory import Memory

# Jobs that are asked about, of the last weeks: 40 ms each on one core (our choice, so that the
# demonstration starts within seconds).
ASKED: Final = 60
_WEEKS: Final = 2


def ask_about_newest(memory: Memory, last: IsoWeek, *, most: int = ASKED) -> int:
    """Keep what the memory says of the newest invented jobs with a cause; return of how many.

    The memory holds no invented job, so that none finds itself. The answers are dated as the
    closes that they stand beside. Nothing is asked where answers are kept already.

    Parameters
    ----------
    memory : Memory
        Answers, as it stands now.
    last : IsoWeek
        The last week of the invented jobs.
    most : int
        Jobs to ask about, the newest ones.
    """
    with memory.store.read() as unit:
        if unit.answers.kept_since() is not None:
            return 0
        jobs = unit.weeks.closed(last.shifted(1 - _WEEKS).monday, last.sunday)
    found = [(job.closing, job) for job in jobs if job.closing and job.origin is Origin.INVENTED]
    newest = sorted((row for row in found if row[1].cause), key=_by_day)[-most:]
    if not newest:
        return 0
    fitted = memory.fitted()
    shown = {job.id: shown_at_close(fitted, as_before_close(job)) for _, job in newest}
    at = datetime.combine(newest[0][0].closed, time(12), tzinfo=UTC)
    with memory.store.write("demonstration", at) as unit:
        for job_id, answer in shown.items():
            unit.answers.keep(job_id, answer)
    return len(newest)


def _by_day(row: tuple[Closing, Job]) -> tuple[str, str]:
    closing, job = row
    return (closing.closed.isoformat(), job.id)


def as_before_close(job: Job) -> Job:
    """Return a closed job as it stood just before its cause was told."""
    before = tuple(row for row in job.reading_sets if row.phase is not Phase.AFTER)
    return replace(job, state=JobState.OPEN, closing=None, reading_sets=before)
