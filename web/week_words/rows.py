"""Every kind of row with what says it."""

from collections.abc import Mapping
from typing import Final

from kb.case.one_line import one_line
from kb.case.terms import Vocabulary
from kb.workflow.week.rows import WeekRow
from web.week_words import (
    answers,
    checks,
    comebacks,
    likeness,
    money,
    open_work,
    pace,
    records,
    rising,
)
from web.week_words.said import Said, Say

# The rows that each module says, in the order of the modules.
SAY: Final[Mapping[str, Say]] = {
    **rising.SAY,
    **comebacks.SAY,
    **pace.SAY,
    **money.SAY,
    **open_work.SAY,
    **records.SAY,
    **checks.SAY,
    **answers.SAY,
    **likeness.SAY,
}


def say(row: WeekRow, words: Vocabulary) -> Said:
    """Return a row in words, without signs that steer a terminal or turn the order of letters.

    Raises
    ------
    KeyError
        If nobody says rows of its kind.
    """
    said = SAY[row.kind](row, words)
    return Said(what=one_line(said.what), numbers=one_line(said.numbers), do=one_line(said.do))
