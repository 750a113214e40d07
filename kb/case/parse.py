"""Typed text to structured values: the one grammar of the job sheet, the search and the files.

Nothing is guessed silently and nothing is dropped: what is ambiguous becomes a question, what
cannot be right is refused with the likely mistake, and every other word is shown as unread.
"""

from typing import Final

from kb.case.grammar.assemble import Assembly
from kb.case.grammar.names import names_for
from kb.case.grammar.parsed import Parsed, Piece, Question, Refused, Unread
from kb.case.model import Phase
from kb.case.terms import Vocabulary

__all__ = ["MAX_TEXT", "Parsed", "Piece", "Question", "Refused", "Unread", "parse"]

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
