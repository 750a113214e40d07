"""Close a job: with a cause and a proof it becomes a case that the next search finds."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from kb.case.model import (
    AfterCheck,
    Closing,
    FixKind,
    Job,
    JobState,
    Option,
    Proof,
    ReadingSet,
)
from kb.case.parts import FittedPart
from kb.case.terms import Vocabulary
from kb.errors import ConflictError, NotProvenError, ParseError, UnknownTermError
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.declined import Choice, write_out

# Ends that say what was wrong need the cause and its proof; the others are kept as jobs that
# still count as witnesses.
ENDS_WITH_CAUSE = frozenset({"fixed", "workaround", "declined", "comeback_same", "comeback_other"})


@dataclass(frozen=True, slots=True, kw_only=True)
class CloseAnswers:
    """The four answers: cause, how it was proven, what was done, what shows that it holds.

    ``told`` is who heard of the danger of a declined safety repair; ``after`` are the readings
    taken again; ``comeback_of`` is an earlier job of the car that this one is a comeback of;
    ``until`` is the day to which a work-around is meant to last.
    """

    end: str = "fixed"
    cause: str | None = None
    second_cause: str | None = None
    proofs: Sequence[Proof] = ()
    fix: FixKind | None = None
    fix_text: str = ""
    parts: Sequence[FittedPart] = ()
    until: date | None = None
    options: Sequence[Option] = ()
    after_checks: Sequence[AfterCheck] = ()
    lesson: str = ""
    after: Sequence[ReadingSet] = ()
    told: str = ""
    comeback_of: str | None = None


def good_until(typed: str, *, today: date, end: str, fix: FixKind | None) -> date | None:
    """Return the day to which a work-around is meant to last, None where none is typed.

    Raises
    ------
    ParseError
        If it is no date, lies before ``today``, or the job did not end with a work-around.
    """
    typed = typed.strip()
    if not typed:
        return None
    try:
        day = date.fromisoformat(typed)
    except ValueError as error:
        raise ParseError(
            f"expected a date like {today.isoformat()}, got '{typed[:20]}'; type it again",
            text=typed,
        ) from error
    if day < today:
        raise ParseError(
            f"expected a day from today on, got {typed}; type the day to which it should last",
            text=typed,
        )
    if end != "workaround" and fix is not FixKind.WORKAROUND:
        raise ParseError(
            f"expected no such day for a repair, got {typed}; choose work-around or empty it",
            text=typed,
        )
    return day


def _missing(answers: CloseAnswers) -> tuple[str, ...]:
    if answers.end not in ENDS_WITH_CAUSE:
        return ()
    gaps = []
    if not answers.cause:
        gaps.append("cause")
    if not any(proof.method for proof in answers.proofs):
        gaps.append("proof")
    return tuple(gaps)


def _check_terms(answers: CloseAnswers, words: Vocabulary) -> None:
    pairs = [(answers.end, words.job_ends, "a job end")]
    pairs += [(proof.method, words.proof_methods, "a proof method") for proof in answers.proofs]
    pairs += [(row.kind, words.after_checks, "an after-check") for row in answers.after_checks]
    for key, rows, what in pairs:
        if key not in rows:
            known = ", ".join(rows)
            raise UnknownTermError(f"expected {what}, got '{key}'; choose one of: {known}")
    for cause in (answers.cause, answers.second_cause):
        if cause:
            words.cause(cause)


def close_job(
    unit: UnitOfWork,
    job_id: str,
    answers: CloseAnswers,
    *,
    words: Vocabulary,
    today: date,
    invoice: str | None = None,
) -> Job:
    """Close a job in one transaction; a second close with the same invoice gives the same case.

    Raises
    ------
    NotProvenError
        If the end names what was wrong and cause or proof is missing; says which.
    ConflictError
        If the job is closed already under another invoice number, or the number is taken.
    UnknownTermError
        If a key is not in the vocabulary.
    """
    job = unit.jobs.get(job_id)
    if job.state is JobState.CLOSED:
        if invoice and invoice == job.invoice:
            return job
        raise ConflictError(f"expected an open job, got {job_id}, which is closed already")
    _refuse_taken(unit, job, invoice)
    missing = _missing(answers)
    if missing:
        raise NotProvenError(_sentence(missing), missing=missing)
    _check_terms(answers, words)
    _refuse_itself(unit, job, answers.comeback_of)
    job = replace(as_closed(job, answers, words=words, today=today), waits_for=None)
    job = replace(job, invoice=invoice or job.invoice)
    unit.jobs.save(job, verb="close", what=f"{answers.end}: {answers.cause or 'no cause'}")
    overturn(unit, job)
    return job


def _refuse_taken(unit: UnitOfWork, job: Job, invoice: str | None) -> None:
    taken = unit.jobs.by_invoice(invoice) if invoice else None
    if taken is not None and taken.id != job.id:
        raise ConflictError(
            f"expected a new invoice number, got {invoice}, which closed {taken.id}; "
            "check the number"
        )


def _refuse_itself(unit: UnitOfWork, job: Job, comeback_of: str | None) -> None:
    if comeback_of and unit.jobs.get(comeback_of).id == job.id:
        raise ConflictError(
            f"expected an earlier job that {job.id} is a comeback of, got itself; choose another"
        )


def _sentence(missing: tuple[str, ...]) -> str:
    words = {
        "cause": "what was wrong (--cause)",
        "proof": "how it was proven (--proof): seen, measured out of limits, moved with the part, "
        "came and went, or inferred",
    }
    listed = " and ".join(words[key] for key in missing)
    return f"expected a cause and a proof, got none for {' and '.join(missing)}; add {listed}"


def as_closed(job: Job, answers: CloseAnswers, *, words: Vocabulary, today: date) -> Job:
    """Return the job as these answers would close it; nothing is checked or written."""
    known = words.known_causes.get(answers.cause or "")
    choice = Choice(
        end=answers.end,
        cause=answers.cause,
        fix=answers.fix,
        options=answers.options,
        told=answers.told,
    )
    closing = Closing(
        closed=today,
        end=answers.end,
        cause=answers.cause or None,
        second_cause=answers.second_cause or None,
        proofs=tuple(answers.proofs),
        fix=answers.fix,
        fix_text=answers.fix_text,
        parts=tuple(answers.parts),
        until=answers.until,
        options=write_out(choice, words=words, today=today),
        after_checks=tuple(answers.after_checks),
        lesson=answers.lesson,
    )
    return replace(
        job,
        state=JobState.CLOSED,
        system=job.system or (known.system if known else None),
        comeback_of=answers.comeback_of or job.comeback_of,
        reading_sets=(*job.reading_sets, *answers.after),
        closing=closing,
    )


def overturn(unit: UnitOfWork, job: Job) -> None:
    """Mark the first case of a comeback as overturned where the cause was another one.

    A comeback that is open again says no more what the cause was: then the first case stands again.
    """
    if job.closing is None:
        _stand_again(unit, job)
        return
    if job.comeback_of is None or job.cause is None:
        return
    first = unit.jobs.get(job.comeback_of)
    if first.closing is None or first.cause in {None, job.cause}:
        return
    closing = replace(first.closing, overturned_by=job.id, held=False)
    what = f"{job.id} came back with {job.cause}"
    unit.jobs.save(replace(first, closing=closing), verb="overturn", what=what)


def _stand_again(unit: UnitOfWork, job: Job) -> None:
    first = unit.jobs.get(job.comeback_of) if job.comeback_of else None
    if first is None or first.closing is None or first.closing.overturned_by != job.id:
        return
    closing = replace(first.closing, overturned_by=None)
    unit.jobs.save(replace(first, closing=closing), verb="stand again", what=f"{job.id} is open")
