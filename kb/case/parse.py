"""Typed text to structured values: the one grammar of the job sheet, the search and the files.

Nothing is guessed silently and nothing is dropped: what is ambiguous becomes a question, what
cannot be right is refused with the likely mistake, and every other word is shown as unread.
"""

from collections.abc import Callable
from functools import lru_cache, partial
from typing import Final

from kb.case.casefile import make_reading
from kb.case.grammar.assemble import Assembly
from kb.case.grammar.built import Built
from kb.case.grammar.marks import read_marks
from kb.case.grammar.names import names_for
from kb.case.grammar.parsed import Parsed, Piece, Question, Refused, Unread
from kb.case.grammar.values import TypedUnit, Value, check_unit, unit_at, value_at
from kb.case.model import Phase, Reading
from kb.case.terms import Vocabulary
from kb.case.units import Quantity
from kb.errors import LimitError, ParseError

__all__ = [
    "MAX_TEXT", "Parsed", "Piece", "Question", "Refused", "Unread", "parse", "parse_again",
    "parse_reading",
]  # fmt: skip

# Longer than any job sheet; the cap bounds the work that one text can cause (our choice).
MAX_TEXT: Final = 20_000
# A line of a job sheet is some 60 characters, and as read some 4 kB: these are a few megabytes, the
# lines of a hundred open jobs (our choice).
_LONGEST_KEPT: Final = 300
_MOST_KEPT: Final = 1024


def parse(
    text: str,
    *,
    words: Vocabulary | None = None,
    system: str | None = None,
    phase: Phase = Phase.BEFORE,
) -> Parsed:
    """Return what ``text`` says, with the place of every piece.

    Parameters
    ----------
    text : str
        As typed; kept unchanged in the answer. Beyond ``MAX_TEXT`` characters it is unread.
    words : Vocabulary or None
        The trade's words; those that ship, where None.
    system : str or None
        Where the complaint was booked; settles words with two meanings.
    phase : Phase
        When readings were taken, unless the text says so itself.

    Examples
    --------
    >>> parse("vent 68F").reading_sets[0].readings[0].unit
    'degF'
    >>> parse("no codes").scan.none_found
    True
    """
    names = names_for(words)
    return Assembly(text, MAX_TEXT, names=names, system=system, phase=phase).parsed()


def parse_again(text: str, *, words: Vocabulary) -> Parsed:
    """Return what ``parse`` does, for a line of an open job, which each of its pages reads again.

    Short lines are kept as they were read, those that were asked for last.
    """
    return _READERS.of(words)(text) if len(text) <= _LONGEST_KEPT else parse(text, words=words)


def _reader(words: Vocabulary) -> Callable[[str], Parsed]:
    return lru_cache(maxsize=_MOST_KEPT)(partial(parse, words=words))


_READERS: Final = Built(_reader)


def parse_reading(
    text: str, quantity: str, *, words: Vocabulary, unit: str, position: str | None = None
) -> Reading:
    """Return the reading typed into a field that is ``quantity``'s own.

    A unit typed behind the number counts; without one, ``unit`` does.

    Raises
    ------
    ParseError
        If it is no number, its unit is another quantity's, or which unit it is stays open.
    LimitError
        If the value lies outside the hard limits of the quantity.

    Examples
    --------
    >>> from kb.case.terms import load_vocabulary
    >>> parse_reading("1,9 bar", "low_side_pressure", words=load_vocabulary(), unit="psi").unit
    'bar'
    """
    names, line, row = names_for(words), read_marks(text.strip()), words.quantity(quantity)
    value = value_at(line, 0)
    if value is None or value.stop >= len(line.marks):
        return make_reading(words, quantity, text.strip(), unit=unit, position=position)
    typed = unit_at(line, value.stop, names)
    if typed.stop == value.stop or typed.stop < len(line.marks):
        accepted = " or ".join(row.accepted)
        raise ParseError(
            f"expected {row.name} as one number, perhaps with {accepted}, got '{text[:40]}'",
            text=text,
        )
    chosen = _typed_unit(value, typed, row)
    return make_reading(words, quantity, value.typed, unit=chosen, position=position)


def _typed_unit(value: Value, typed: TypedUnit, row: Quantity) -> str:
    choice = check_unit(value, typed, row)
    if choice.refused:
        raise LimitError(choice.refused, text=typed.raw)
    if not choice.unit:
        options = " or ".join(choice.options or row.accepted)
        raise ParseError(f"{choice.why}; write {options}", text=typed.raw)
    return choice.unit
