"""Close a job: with a cause and a proof it becomes a case that the next search finds."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date

from kb.case.model import AfterCheck, Closing, FixKind, Job, JobState, Option, Proof
from kb.case.terms import Vocabulary
from kb.errors import ConflictError, NotProvenError, UnknownTermError
from kb.store.engine import UnitOfWork

# Ends that say what was wrong need the cause and its proof; the others are kept as jobs that
# still count as witnesses.
ENDS_WITH_CAUSE = frozenset({"fixed", "workaround", "declined", "comeback_same", "comeback_other"})


@dataclass(frozen=True, slots=True, kw_only=True)
class CloseAnswers:
    """The four answers: cause, how it was proven, what was done, what shows that it holds."""

    end: str = "fixed"
    cause: str | None = None
    second_cause: str | None = None
    proofs: Sequence[Proof] = ()
    fix: FixKind | None = None
    fix_text: str = ""
    options: Sequence[Option] = ()
    after_checks: Sequence[AfterCheck] = ()
    lesson: str = ""


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
    job = replace(
        job,
        state=JobState.CLOSED,
        waits_for=None,
        invoice=invoice or job.invoice,
        system=job.system or (words.cause(answers.cause).system if answers.cause else None),
        closing=_closing(answers, today),
    )
    unit.jobs.save(job, verb="close", what=f"{answers.end}: {answers.cause or 'no cause'}")
    _overturn(unit, job)
    return job


def _refuse_taken(unit: UnitOfWork, job: Job, invoice: str | None) -> None:
    taken = unit.jobs.by_invoice(invoice) if invoice else None
    if taken is not None and taken.id != job.id:
        raise ConflictError(
            f"expected a new invoice number, got {invoice}, which closed {taken.id}; "
            "check the number"
        )


def _sentence(missing: tuple[str, ...]) -> str:
    words = {
        "cause": "what was wrong (--cause)",
        "proof": "how it was proven (--proof): seen, measured out of limits, moved with the part, "
        "came and went, or inferred",
    }
    listed = " and ".join(words[key] for key in missing)
    return f"expected a cause and a proof, got none for {' and '.join(missing)}; add {listed}"


def _closing(answers: CloseAnswers, today: date) -> Closing:
    return Closing(
        closed=today,
        end=answers.end,
        cause=answers.cause or None,
        second_cause=answers.second_cause or None,
        proofs=tuple(answers.proofs),
        fix=answers.fix,
        fix_text=answers.fix_text,
        options=tuple(answers.options),
        after_checks=tuple(answers.after_checks),
        lesson=answers.lesson,
    )


def _overturn(unit: UnitOfWork, job: Job) -> None:
    """Mark the first case of a comeback as overturned where the cause was another one."""
    if job.comeback_of is None or job.cause is None:
        return
    first = unit.jobs.get(job.comeback_of)
    if first.closing is None or first.cause in {None, job.cause}:
        return
    closing = replace(first.closing, overturned_by=job.id, held=False)
    what = f"{job.id} came back with {job.cause}"
    unit.jobs.save(replace(first, closing=closing), verb="overturn", what=what)
