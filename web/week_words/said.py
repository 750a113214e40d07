"""What one row of the week says: in one sentence, in numbers, and what could be done."""

from collections.abc import Callable
from dataclasses import dataclass

from kb.case.terms import Vocabulary
from kb.workflow.week.rows import WeekRow


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """A row in words.

    ``what`` is one sentence, ``numbers`` what stands behind it (counts with their interval),
    ``do`` what a foreman could decide; each may be empty but the first.
    """

    what: str
    numbers: str = ""
    do: str = ""


Say = Callable[[WeekRow, Vocabulary], Said]
