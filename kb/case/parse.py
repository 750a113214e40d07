"""Typed text to structured values: the one grammar of the job sheet, the search and the files.

Nothing is guessed silently and nothing is dropped: what is ambiguous becomes a question, what
cannot be right is refused with the likely mistake, and every other word is shown as unread.
"""

from typing import Final

from kb.case.casefile import make_reading
from kb.case.grammar.assemble import Assembly
from kb.case.grammar.marks import read_marks
from kb.case.grammar.names import names_for
from kb.case.grammar.parsed import Parsed, Piece, Question, Refused, Unread
from kb.case.grammar.values import TypedUnit, Value, check_unit, unit_at, value_at
from kb.case.model import Phase, Reading
from kb.case.terms import Vocabulary
from kb.case.units import Quantity
from kb.errors import LimitError, ParseError

__all__ = ["MAX_TEXT", "Parsed", "Piece", "Question", "Refused", "Unread", "parse", "parse_reading"]

# Longer than any job sheet; the cap bounds the work that one text can cause (our choice).
MAX_TEXT: Final = 20_000


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
