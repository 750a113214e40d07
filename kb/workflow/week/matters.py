"""Rows about one and the same matter, so that three decisions are about three matters."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from kb.workflow.week.rows import WeekRow

# Kinds that begin their subject with the cause that rises.
_OF_A_CAUSE: Final = frozenset({"rising_cause", "rising_pair"})
# Kinds about one trouble of cars. A list of all sorts of jobs, such as those open for long or the
# repairs declined, shares cases with anything.
_TROUBLES: Final = frozenset(
    {
        "came_back",
        "rising_cause",
        "rising_pair",
        "rising_complaint",
        "failed_part",
        "no_name",
    }
)
# Share of the cases of the smaller row that both hold, from which on it is one matter (our choice).
_SHARED: Final = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Matter:
    """The row that leads, and the others about the same, each more pressing than the next."""

    lead: WeekRow
    others: tuple[WeekRow, ...] = ()


def same_matter(one: WeekRow, other: WeekRow) -> bool:
    """Return whether two rows are about the same cause, or mostly about the same cases."""
    if {one.kind, other.kind} <= _OF_A_CAUSE:
        return one.subject[:1] == other.subject[:1]
    smaller = min(len(one.cases), len(other.cases))
    if not smaller or not {one.kind, other.kind} <= _TROUBLES:
        return False
    return len(set(one.cases) & set(other.cases)) >= _SHARED * smaller


def matters(rows: Iterable[WeekRow], *, most: int) -> tuple[Matter, ...]:
    """Return the first ``most`` matters of rows, in the order of the first row of each.

    A cause leads its pair of vehicle and cause, even where the pair is the more pressing one.
    """
    found: list[Matter] = []
    for row in rows:
        at = next((at for at, known in enumerate(found) if same_matter(known.lead, row)), None)
        if at is not None:
            found[at] = _joined(found[at], row)
        elif len(found) < most:
            found.append(Matter(lead=row))
    return tuple(found)


def _joined(known: Matter, row: WeekRow) -> Matter:
    if (known.lead.kind, row.kind) == ("rising_pair", "rising_cause"):
        return Matter(lead=row, others=(known.lead, *known.others))
    return Matter(lead=known.lead, others=(*known.others, row))
