"""What of the typed lines is still open, and what an answer to it makes part of the job."""

import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from typing import Final

from kb.case.alternatives import outside_band
from kb.case.casefile import make_reading
from kb.case.grammar.marks import read_marks
from kb.case.grammar.values import value_at
from kb.case.model import Code, Finding, Job, Reading, ReadingSet
from kb.case.parse import Parsed, Question, Refused, parse_again
from kb.case.terms import Vocabulary
from kb.case.units import UNITS, Quantity
from kb.errors import KBError

_MEANT: Final = re.compile(r"did you mean (.+)\?$")
_CAME_OF_IT: Final = ": what came of it?"
_WHICH_UNIT: Final = ": which unit?"
# Signs on either side within which a text is read again for an answer (our choice): a list of
# hundreds of numbers would else be read hundreds of times.
READ_AROUND: Final = 200
# Names that an option uses and a typed line does not.
_TYPED_AS: Final = (("short-term", "STFT"), ("long-term", "LTFT"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Gain:
    """What an answer adds to a job; ``finding`` and ``outcome`` where it settles a check."""

    reading_sets: tuple[ReadingSet, ...] = ()
    codes: tuple[Code, ...] = ()
    finding: int | None = None
    outcome: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class OpenPoint:
    """A piece of a typed line that is asked back or refused.

    ``key`` names it for good: its text, the number of the line, the place in it. ``answers`` are
    those of the offered ``options`` that settle it, with what each of them adds.
    """

    key: str
    text: str
    why: str
    refused: bool
    options: tuple[str, ...]
    answers: tuple[tuple[str, Gain], ...]


def point_key(text: str, *, line: int, start: int) -> str:
    """Return what names an open piece of a job; ``line`` counts from 0, as ``start`` does.

    Examples
    --------
    >>> point_key("comp 45", line=0, start=7)
    'comp 45 (line 1, sign 8)'
    """
    return f"{text} (line {line + 1}, sign {start + 1})"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A piece that is asked back or refused, before it is known what each answer would add."""

    key: str
    row: Question | Refused
    read: Parsed


def asked_back(parsed: tuple[Parsed, ...], settled: Collection[str]) -> tuple[Asked, ...]:
    """Return what of the lines of a job is asked back or refused and not settled yet.

    Parameters
    ----------
    parsed : tuple of Parsed
        The lines as read, in order.
    settled : collection of str
        Keys that are asked no more.
    """
    found = []
    for line, read in enumerate(parsed):
        rows: list[Question | Refused] = [*read.questions, *read.refused]
        for row in sorted(rows, key=lambda one: one.start):
            key = point_key(row.text, line=line, start=row.start)
            if key not in settled:
                found.append(Asked(key=key, row=row, read=read))
    return tuple(found)


def open_point(one: Asked, job: Job, *, words: Vocabulary) -> OpenPoint:
    """Return a piece with what each answer adds; its line is read once more for each.

    Parameters
    ----------
    one : Asked
        As ``asked_back`` gives it.
    job : Job
        Its findings take answers about what a check showed.
    words : Vocabulary
        The trade's words.
    """
    row, read = one.row, one.read
    asked = row if isinstance(row, Question) else _as_question(row, words)
    answers = []
    for option in asked.options:
        gain = _gain(asked, option, job=job, read=read, words=words)
        if gain is not None:
            answers.append((option, gain))
    why = row.message if isinstance(row, Refused) else row.why
    return OpenPoint(
        key=one.key,
        text=row.text,
        why=why,
        refused=isinstance(row, Refused),
        options=asked.options,
        answers=tuple(answers),
    )


def _as_question(row: Refused, words: Vocabulary) -> Question:
    """Return a refused value as a question after the units in which it could be right."""
    meant = _MEANT.search(row.message)
    units = tuple(unit for unit in meant[1].split(" or ") if unit in UNITS) if meant else ()
    named = [q.name for q in words.quantities.values() if f"expected {q.name} from" in row.message]
    why = f"{named[0]}{_WHICH_UNIT}" if named else ""
    return Question(text=row.text, start=row.start, end=row.end, why=why, options=units)


def _gain(
    asked: Question, option: str, *, job: Job, read: Parsed, words: Vocabulary
) -> Gain | None:
    if asked.why.endswith(_CAME_OF_IT):
        return _outcome_gain(asked, option, job=job, words=words)
    if not asked.text:
        return None
    quantity = _quantity_named(option, words)
    for said in _clearer(asked, option, quantity):
        gain = _reread(asked, said, job=job, read=read, words=words)
        if gain is not None and _is_meant(gain, option, quantity):
            return gain if quantity is None else _without_name(gain, said, words)
    quantity = quantity or _quantity_asked(asked, words)
    return None if quantity is None else _plain_gain(asked.text, option, quantity, words=words)


def _outcome_gain(asked: Question, option: str, *, job: Job, words: Vocabulary) -> Gain | None:
    name = asked.why.removesuffix(_CAME_OF_IT)
    rows: list[tuple[int, Finding]] = list(enumerate(job.findings))
    for index, row in reversed(rows):
        if words.check_name(row.check) == name and row.outcome == "unclear":
            return Gain(finding=index, outcome=option)
    return None


def _quantity_named(name: str, words: Vocabulary) -> Quantity | None:
    return next((row for row in words.quantities.values() if row.name == name), None)


def _quantity_asked(asked: Question, words: Vocabulary) -> Quantity | None:
    return _quantity_named(asked.why.removesuffix(_WHICH_UNIT), words)


def _head_and_number(text: str) -> tuple[str, str]:
    at = next((i for i, sign in enumerate(text) if sign.isdigit() or sign in "<>+-.−"), len(text))
    return text[:at].strip(), text[at:].strip()


def _clearer(asked: Question, option: str, quantity: Quantity | None) -> Iterator[str]:
    """Yield ways to say the asked text so that it has the meaning ``option`` alone."""
    head, number = _head_and_number(asked.text)
    if quantity is not None:
        for name in (quantity.name, *quantity.short):
            yield f"{name} {number}"
    elif option in UNITS:
        raw = asked.why.partition(":")[0]
        if raw in asked.text:
            yield asked.text.replace(raw, option)
        yield f"{asked.text} {option}"
        yield f"{head} {number.split(' ')[0]} {option}"
    else:
        yield f"{head} {option}"
        yield option
        yield f"{option} {number}"
        typed = option
        for name, short in _TYPED_AS:
            typed = typed.replace(name, short)
        yield typed


def _reread(
    asked: Question, said: str, *, job: Job, read: Parsed, words: Vocabulary
) -> Gain | None:
    """Return what stands at the asked place when the line is read with ``said`` there."""
    first, last = _around(read.text, asked)
    before, after = read.text[first : asked.start], read.text[asked.end : last]
    again = parse_again(f"{before}{said}{after}", words=words)
    start, end = asked.start - first, asked.start - first + len(said)
    doubts = [(row.start, row.end) for row in again.questions]
    doubts += [(row.start, row.end) for row in again.refused]
    if any(since < end and start < until for since, until in doubts):
        return None
    more = len(said) - (asked.end - asked.start)
    kept = [
        row
        for row in again.pieces
        if start <= row.start and (row.start < end or not _was_read(read, first + row.start - more))
    ]
    flat = {row.index for row in kept if row.kind == "reading"}
    codes = tuple(again.codes[row.index] for row in kept if row.kind == "code")
    sets = _only(again, flat, job)
    return Gain(reading_sets=sets, codes=codes) if sets or codes else None


def _around(text: str, asked: Question) -> tuple[int, int]:
    """Return the part of a text that is read again: of a long one some whole words around."""
    before = max(text.rfind(gap, 0, max(0, asked.start - READ_AROUND)) for gap in " \n") + 1
    after = [text.find(gap, asked.end + READ_AROUND) for gap in " \n"]
    return before, min((at for at in after if at >= 0), default=len(text))


def _was_read(read: Parsed, at: int) -> bool:
    spans = [(row.start, row.end) for row in read.pieces]
    spans += [(row.start, row.end) for row in read.questions]
    spans += [(row.start, row.end) for row in read.refused]
    return any(start <= at < end for start, end in spans)


def _only(again: Parsed, flat: set[int], job: Job) -> tuple[ReadingSet, ...]:
    """Return the sets with the readings of these numbers alone, their findings those of the job."""
    made, count = [], 0
    for group in again.reading_sets:
        rows = tuple(row for at, row in enumerate(group.readings, count) if at in flat)
        count += len(group.readings)
        if rows:
            finding = None if group.finding is None else again.findings[group.finding].check
            at = [row.check for row in job.findings]
            number = at.index(finding) if finding in at else None
            made.append(replace(group, readings=rows, finding=number))
    return tuple(made)


def _without_name(gain: Gain, said: str, words: Vocabulary) -> Gain:
    """Return what was gained without the states in the name: "charging ripple" is no rough road."""
    named = parse_again(_head_and_number(said)[0], words=words).conditions
    sets = (
        replace(row, state=tuple(one for one in row.state if one not in named))
        for row in gain.reading_sets
    )
    return replace(gain, reading_sets=tuple(sets))


def _readings(gain: Gain) -> list[Reading]:
    return [row for group in gain.reading_sets for row in group.readings]


def _is_meant(gain: Gain, option: str, quantity: Quantity | None) -> bool:
    rows = _readings(gain)
    if quantity is not None:
        return len(rows) == 1 and rows[0].quantity == quantity.key
    return option not in UNITS or (bool(rows) and all(row.unit == option for row in rows))


def _plain_gain(text: str, option: str, quantity: Quantity, *, words: Vocabulary) -> Gain | None:
    """Return the one number of the asked text as a reading as found, None where it is unsure."""
    line = read_marks(text)
    numbers = [index for index in range(len(line.marks)) if line.kind(index) == "number"]
    value = value_at(line, numbers[0]) if len(numbers) == 1 else None
    if value is None or value.low is None:
        return None
    unit = option if option in UNITS else _unit_for(value.low, quantity)
    try:
        row = make_reading(words, quantity.key, value.typed, unit=unit)
    except KBError:
        return None
    return Gain(reading_sets=(ReadingSet(readings=(row,)),))


def _unit_for(number: float, quantity: Quantity) -> str:
    """Return the unit in which the trade speaks of it, unless another fits the usual band better."""
    far = {unit: outside_band(number, unit, quantity) for unit in quantity.accepted}
    fitting = {unit: one for unit, one in far.items() if one is not None}
    if not fitting or quantity.shown in fitting:
        return quantity.shown
    return min(fitting, key=lambda unit: fitting[unit])
