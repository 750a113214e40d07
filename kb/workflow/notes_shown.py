"""Which notes of the shop stand on an open job: those whose whole pattern fits it."""

from collections.abc import Mapping
from typing import Final

from kb.case.meant_now import with_family
from kb.case.model import Job, Polarity
from kb.case.terms import Vocabulary
from kb.store.notes import Note, Pattern
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.suggest import Suggestion

# A system fits an open job that names none where a cause of at least this chance lies in it (our
# choice: below it the last of the causes shown is often of a system that nobody thinks of).
LEAST_CHANCE: Final = 0.05


def notes_for(
    unit: UnitOfWork, job: Job, answers: Suggestion | None, *, words: Vocabulary
) -> tuple[Note, ...]:
    """Return the notes whose whole pattern fits an open job, the newest first.

    The symptom must be one that the car shows; the cause one of the causes that are shown; the
    system the job's own, or that of a likely cause where the job names none; make and model the
    car's in whatever case, and the model may be the family that the car belongs to.
    """
    patterns = unit.notes.patterns()
    if not patterns:
        return ()
    has = _of_job(job, answers, words)
    return unit.notes.some([key for key, pattern in patterns if _fits(pattern, has, words)])


def _of_job(job: Job, answers: Suggestion | None, words: Vocabulary) -> Mapping[str, set[str]]:
    shown = [(row.cause, row.chance) for row in answers.shown if row.cause] if answers else []
    likely = [cause for cause, chance in shown if chance >= LEAST_CHANCE]
    systems = [words.cause(cause).system for cause in likely if cause in words.known_causes]
    car = with_family(job.vehicle, words)
    return {
        "cause": {cause for cause, _ in shown},
        "system": {job.system} if job.system else set(systems),
        "symptom": {
            row.concept for row in job.symptoms if row.concept and row.polarity is Polarity.YES
        },
        "make": _folded(car.make),
        "model": _folded(car.model) | _folded(car.family),
    }


def _folded(*names: str | None) -> set[str]:
    return {name.casefold() for name in names if name}


def _fits(pattern: Pattern, has: Mapping[str, set[str]], words: Vocabulary) -> bool:
    wanted = {
        "system": pattern.system,
        "cause": pattern.cause and words.shop.now("cause", pattern.cause),
        "symptom": pattern.symptom,
        "make": pattern.make and pattern.make.casefold(),
        "model": pattern.model and pattern.model.casefold(),
    }
    return all(value in has[name] for name, value in wanted.items() if value)
