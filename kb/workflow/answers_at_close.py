"""What was said of a job just before its cause was told, kept so that the week can look at it."""

import logging
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Final

from kb.case.model import Job, Phase
from kb.diagnosis.chances import CauseChance
from kb.diagnosis.information import bits_told
from kb.store.answers import Gain, ShownAnswer
from kb.workflow.fitted import Fitted
from kb.workflow.suggest import Suggestion, Wanted, as_written_up

# Prior cases kept: as many as the page of a job shows.
MATCHES: Final = 6
# Findings asked about; a close must not wait, and few jobs have more (our choice).
MOST_FINDINGS: Final = 8
# Jobs up to which a close in the terminal fits them itself: 2 s at 185 cases on two busy cores,
# over two minutes at 10,000 (our choice; larger shops have a kept index).
FITTED_FOR_A_CLOSE: Final = 500
# A check that was not done told nothing.
NOT_DONE: Final = "not_done"
_DIGITS: Final = 6
logger = logging.getLogger(__name__)


def shown_at_close(fitted: Fitted | None, job: Job) -> ShownAnswer | None:
    """Return what is said of an open job as it stands, and what each finding had told.

    None where nothing is fitted, where the job itself is among the fitted (closed before and
    reopened: it would find itself), where a part of the memory did not answer, or where answering
    failed, which stops no close.
    """
    if fitted is None or not len(fitted.index) or job.closing is not None or fitted.holds(job.id):
        return None
    try:
        return _shown(fitted, job)
    except Exception:
        logger.exception("expected answers to keep with the close of %s, got none", job.id)
        return None


def _shown(fitted: Fitted, job: Job) -> ShownAnswer | None:
    wanted = Wanted(top=MATCHES)
    start = as_written_up(job)
    first = fitted.suggest(start, wanted)
    found = fitted.suggest(job, wanted)
    if first.missing or found.missing:
        return None
    check, subject = _first_check(first)
    return ShownAnswer(
        causes=tuple((row.cause, round(row.chance, _DIGITS)) for row in found.shown),
        matches=tuple(row.case for row in found.matches),
        nothing_like_it=found.nothing_like_it,
        first_check=check,
        first_subject=subject,
        gains=tuple(_gains(fitted, job, first.causes)),
    )


def _first_check(first: Suggestion) -> tuple[str | None, str | None]:
    """Return the check that stood first: that of the look where one was due, else the best one."""
    if first.look is not None:
        return first.look.look.check, first.look.look.subject
    if not first.settles or not first.checks:
        return None, None
    return first.checks[0].check, first.checks[0].subject


def _gains(fitted: Fitted, job: Job, before: Sequence[CauseChance]) -> Iterator[Gain]:
    """Yield what each finding told, added one after the other; ``before`` were the first chances."""
    start = as_written_up(job)
    for ordinal, row in enumerate(job.findings[:MOST_FINDINGS]):
        if row.outcome == NOT_DONE:
            continue
        after = fitted.chances(_until(job, start, ordinal))
        yield Gain(
            ordinal=ordinal,
            check=row.check,
            subject=row.subject,
            outcome=row.outcome,
            minutes=row.minutes,
            bits=bits_told([it.chance for it in before], [it.chance for it in after]),
            lead_changed=before[0].cause != after[0].cause,
        )
        before = after


def _until(job: Job, start: Job, ordinal: int) -> Job:
    """Return the job as written up with its findings up to one of them, and their readings."""
    groups = tuple(
        group
        for group in job.reading_sets
        if group.phase is not Phase.AFTER and group.finding is not None and group.finding <= ordinal
    )
    return replace(
        start,
        findings=job.findings[: ordinal + 1],
        reading_sets=(*start.reading_sets, *groups),
    )
