"""What the close page says before it is sent: proofs in words, and how the case will stand."""

from dataclasses import dataclass
from datetime import date

from kb.case.model import Job
from kb.case.standing import standing_of, standing_reason
from kb.case.terms import Vocabulary
from kb.workflow.close import ENDS_WITH_CAUSE, CloseAnswers, as_closed
from kb.workflow.close_draft import asks_for_more
from kb.workflow.declined import DECLINED_ENDS, HEAD, NO_REPAIR
from web.wording import named, reading_words, response_words


@dataclass(frozen=True, slots=True, kw_only=True)
class Preview:
    """How the case will stand, what would make it stand better, what was declined in danger."""

    stands: str
    asks: tuple[str, ...] = ()
    declined: str = ""


def finding_words(job: Job, number: int, words: Vocabulary) -> str:
    """Return a finding in one line: check, outcome, what it changed, its readings."""
    row = job.findings[number]
    subject = f" ({row.subject})" if row.subject else ""
    times = f", {row.repeats} times" if row.repeats > 1 else ""
    head = f"{words.check_name(row.check)}{subject}: {row.outcome.replace('_', ' ')}{times}"
    changed = [response_words(response, words) for response in row.responses]
    read = [
        reading_words(reading, words)
        for group in job.reading_sets
        if group.finding == number
        for reading in group.readings
    ]
    return "; ".join([head, *filter(None, changed), *read])


def _missing(answers: CloseAnswers) -> str:
    gaps = [
        what
        for what, there in (("the cause", answers.cause), ("how it was proven", answers.proofs))
        if not there
    ]
    return f"{' and '.join(gaps)} {'is' if len(gaps) == 1 else 'are'} missing" if gaps else ""


def stands_words(job: Job, answers: CloseAnswers) -> str:
    """Return how a job closed with these answers will stand, and why; ``job`` is closed so."""
    if answers.end not in ENDS_WITH_CAUSE and not answers.cause:
        return "Will be kept as a job without a cause; it still counts when a like one comes."
    if missing := _missing(answers):
        return f"Cannot be closed like this yet: {missing}."
    return f"Will stand as: {standing_of(job)}, because {standing_reason(job)}."


def _doubts(answers: CloseAnswers) -> tuple[str, ...]:
    if answers.end in DECLINED_ENDS and answers.fix and answers.fix not in NO_REPAIR:
        return (f"The customer declined, but the fix says {answers.fix}: look at both again.",)
    return ()


def preview(job: Job, answers: CloseAnswers, *, words: Vocabulary, today: date) -> Preview:
    """Return what the page says about the answers as they are now; nothing is written."""
    closed = as_closed(job, answers, words=words, today=today)
    options = closed.closing.options if closed.closing else ()
    asks = tuple(
        f"“{named(words.proof_methods, row.method)}” has neither a value nor a photo with it: "
        "add one if you can."
        for row in answers.proofs
        if asks_for_more(row.method, row.text, row.photo)
    )
    asks += _doubts(answers)
    declined = next((row.risk for row in options if HEAD in row.risk), "")
    if declined and not answers.told:
        asks += ("Write down who was told of the danger.",)
    return Preview(stands=stands_words(closed, answers), asks=asks, declined=declined)
