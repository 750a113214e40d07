"""One piece of a job put right: a symptom, a finding, or any piece that was understood wrongly."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Final, TypeVar

from kb.case.amend_readings import READING_CHANGES, Amend, readings_of
from kb.case.model import Change, Finding, Job, Polarity, ReadingSet, Symptom
from kb.case.place_text import place_text
from kb.case.terms import OPEN_OUTCOMES, Vocabulary
from kb.case.units import parse_number
from kb.errors import NotFoundError, ParseError, UnknownTermError

# A check repeated more often, or longer than a day, is a slip of the finger (our choice).
MOST_REPEATS: Final = 50
MOST_MINUTES: Final = 1440.0

T = TypeVar("T")


def pieces_of(job: Job, kind: str) -> tuple[Any, ...]:
    """Return the pieces of one kind in order; readings and responses through all their sets.

    Raises
    ------
    UnknownTermError
        If there is no such kind.
    """
    found: dict[str, Callable[[], tuple[Any, ...]]] = {
        "symptom": lambda: job.symptoms,
        "reading": lambda: readings_of(job),
        "code": lambda: job.codes,
        "scan": lambda: (job.scan,) if job.scan else (),
        "finding": lambda: job.findings,
        "response": lambda: tuple(row for made in job.findings for row in made.responses),
        "tried": lambda: job.tried,
    }
    if kind not in found:
        raise UnknownTermError(f"expected one of {', '.join(found)}, got '{kind[:20]}'")
    return found[kind]()


def piece_at(job: Job, kind: str, index: int) -> Any:
    """Return one piece; that of a reading comes with its set.

    Raises
    ------
    NotFoundError
        If the job has fewer of the kind.
    """
    rows = pieces_of(job, kind)
    if not 0 <= index < len(rows):
        raise NotFoundError(
            f"expected a {kind} below {len(rows)}, got {index}; look at the job again"
        )
    return rows[index]


def _swap(rows: tuple[T, ...], index: int, *new: T) -> tuple[T, ...]:
    return (*rows[:index], *new, *rows[index + 1 :])


def _known(key: str, rows: Any, what: str) -> str:
    if key not in rows:
        raise UnknownTermError(f"expected {what} of the vocabulary, got '{key[:40]}'; pick one")
    return key


# --- symptoms ------------------------------------------------------------------------------------


def _symptom(job: Job, index: int, **changes: Any) -> Job:
    row: Symptom = piece_at(job, "symptom", index)
    return replace(job, symptoms=_swap(job.symptoms, index, replace(row, **changes)))


def set_concept(job: Job, index: int, value: str, *, words: Vocabulary) -> Job:
    """Return the job with one symptom meaning another of the trade's; empty means none of them."""
    key = _known(value, words.symptoms, "a symptom") if value else None
    return _symptom(job, index, concept=key)


def set_polarity(job: Job, index: int, value: str, *, words: Vocabulary) -> Job:
    """Return the job with one symptom there, not there, weak or past."""
    return _symptom(job, index, polarity=Polarity(_known(value, set(Polarity), "yes or no")))


def set_symptom_place(job: Job, index: int, value: str, *, words: Vocabulary) -> Job:
    """Return the job with one symptom at another place; an empty one takes it away."""
    return _symptom(job, index, position=place_text(value))


def _conditions(job: Job, index: int, value: str, *, words: Vocabulary) -> tuple[str, Symptom]:
    return _known(value, words.conditions, "a condition"), piece_at(job, "symptom", index)


def _less(rows: tuple[str, ...], key: str) -> tuple[str, ...]:
    return tuple(row for row in rows if row != key)


def _more(rows: tuple[str, ...], key: str) -> tuple[str, ...]:
    return rows if key in rows else (*rows, key)


def add_condition(job: Job, index: int, value: str, *, words: Vocabulary) -> Job:
    """Return the job with one symptom showing under one condition more."""
    key, row = _conditions(job, index, value, words=words)
    more, never = _more(row.conditions, key), _less(row.not_conditions, key)
    return _symptom(job, index, conditions=more, not_conditions=never)


def deny_condition(job: Job, index: int, value: str, *, words: Vocabulary) -> Job:
    """Return the job with one symptom said not to show under a condition."""
    key, row = _conditions(job, index, value, words=words)
    less, never = _less(row.conditions, key), _more(row.not_conditions, key)
    return _symptom(job, index, conditions=less, not_conditions=never)


def drop_condition(job: Job, index: int, value: str, *, words: Vocabulary) -> Job:
    """Return the job with nothing said of one condition of a symptom."""
    key, row = _conditions(job, index, value, words=words)
    less, never = _less(row.conditions, key), _less(row.not_conditions, key)
    return _symptom(job, index, conditions=less, not_conditions=never)


def change_condition(job: Job, index: int, value: str, *, words: Vocabulary) -> Job:
    """Return the job with one condition of a symptom in place of another: ``old>new``."""
    old, _, new = value.partition(">")
    key, row = _conditions(job, index, new, words=words)

    def swapped(rows: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(key if one == old else one for one in rows))

    if old not in (*row.conditions, *row.not_conditions):
        raise NotFoundError(f"expected a condition of the symptom, got '{old[:40]}'; look again")
    there, never = swapped(row.conditions), swapped(row.not_conditions)
    return _symptom(job, index, conditions=there, not_conditions=never)


# --- findings ------------------------------------------------------------------------------------


def _finding(job: Job, index: int, **changes: Any) -> Job:
    row: Finding = piece_at(job, "finding", index)
    return replace(job, findings=_swap(job.findings, index, replace(row, **changes)))


def set_outcome(job: Job, index: int, value: str, *, words: Vocabulary) -> Job:
    """Return the job with another outcome of one check, out of those that it has."""
    row: Finding = piece_at(job, "finding", index)
    known = words.checks[row.check].outcomes if row.check in words.checks else ()
    return _finding(job, index, outcome=_known(value, (*known, *OPEN_OUTCOMES), "an outcome"))


def set_subject(job: Job, index: int, value: str, *, words: Vocabulary) -> Job:
    """Return the job with one check done on another subject; an empty one takes it away."""
    return _finding(job, index, subject=place_text(value))


def set_repeats(job: Job, index: int, value: str, *, words: Vocabulary) -> Job:
    """Return the job with one check done so many times."""
    typed = value.strip()
    if not (typed.isascii() and typed.isdigit() and 1 <= int(typed[:9]) <= MOST_REPEATS):
        raise ParseError(
            f"expected how often as 1 to {MOST_REPEATS}, got '{typed[:20]}'", text=typed
        )
    return _finding(job, index, repeats=int(typed))


def set_minutes(job: Job, index: int, value: str, *, words: Vocabulary) -> Job:
    """Return the job with the minutes that one check took; an empty text takes them away."""
    if not value.strip():
        return _finding(job, index, minutes=None)
    minutes = parse_number(value[:20])
    if not 0 < minutes <= MOST_MINUTES:
        raise ParseError(
            f"expected minutes up to {MOST_MINUTES:.0f}, got '{value[:20]}'", text=value
        )
    return _finding(job, index, minutes=minutes)


def _take_out_finding(job: Job, index: int, value: str, *, words: Vocabulary) -> Job:
    piece_at(job, "finding", index)

    def moved(group: ReadingSet) -> ReadingSet:
        at = group.finding
        if at is None or at < index:
            return group
        return replace(group, finding=None if at == index else at - 1)

    sets = tuple(moved(group) for group in job.reading_sets)
    return replace(job, findings=_swap(job.findings, index), reading_sets=sets)


# --- the rest ------------------------------------------------------------------------------------


def _response(job: Job, index: int, change: Callable[[Any], tuple[Any, ...]]) -> Job:
    row, left = piece_at(job, "response", index), index
    for number, made in enumerate(job.findings):
        if left < len(made.responses):
            rows = _swap(made.responses, left, *change(row))
            return _finding(job, number, responses=rows)
        left -= len(made.responses)
    raise AssertionError("a known response belongs to a finding")


def _set_change(job: Job, index: int, value: str, *, words: Vocabulary) -> Job:
    made = Change(_known(value, set(Change), "what changed"))
    return _response(job, index, lambda row: (replace(row, change=made),))


def _take_out_response(job: Job, index: int, value: str, *, words: Vocabulary) -> Job:
    return _response(job, index, lambda row: ())


def _take_out(field: str, kind: str) -> Amend:
    def amend(job: Job, index: int, value: str, *, words: Vocabulary) -> Job:
        piece_at(job, kind, index)
        return replace(job, **{field: _swap(getattr(job, field), index)})  # type: ignore[arg-type]

    return amend


def _no_scan(job: Job, index: int, value: str, *, words: Vocabulary) -> Job:
    piece_at(job, "scan", index)
    return replace(job, scan=None)


CHANGES: Final[dict[str, dict[str, Amend]]] = {
    "reading": READING_CHANGES,
    "symptom": {
        "concept": set_concept,
        "polarity": set_polarity,
        "place": set_symptom_place,
        "when": add_condition,
        "never": deny_condition,
        "without": drop_condition,
        "instead": change_condition,
        "out": _take_out("symptoms", "symptom"),
    },
    "finding": {
        "outcome": set_outcome,
        "subject": set_subject,
        "repeats": set_repeats,
        "minutes": set_minutes,
        "out": _take_out_finding,
    },
    "response": {
        "change": _set_change,
        "out": _take_out_response,
    },
    "code": {"out": _take_out("codes", "code")},
    "scan": {"out": _no_scan},
    "tried": {"out": _take_out("tried", "tried")},
}
