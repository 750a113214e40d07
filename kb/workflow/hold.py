"""Repairs that held: the holding period passed and the car did not come back for it."""

from collections.abc import Iterable
from datetime import date, timedelta
from typing import Final

from kb.store.unit_of_work import UnitOfWork
from kb.store.week_rows import ClosedLine

# The setting that holds the shop's holding period in days, and what holds until it is set: a
# common warranty on repairs (common practice, no source).
HOLDING_DAYS: Final = "holding days"
DEFAULT_DAYS: Final = 90
# Cases marked at once, the oldest first: a few seconds in which nobody else can write (measured:
# 4 ms a case; our choice). What is left is marked by the next press.
MOST_AT_ONCE: Final = 1000
# Ends after which there is a repair that can hold.
_REPAIRED: Final = frozenset({"fixed", "comeback_same"})


def holding_days(unit: UnitOfWork) -> int:
    """Return the shop's holding period in days."""
    typed = unit.settings.get(HOLDING_DAYS) or ""
    return int(typed) if typed.isascii() and typed.isdigit() else DEFAULT_DAYS


def may_hold(line: ClosedLine, today: date, days: int) -> bool:
    """Say whether a closed job is past its holding period and not yet marked as held.

    Whether the car came back stands in other jobs: ask ``qualifying`` for that.
    """
    repaired = line.end in _REPAIRED and line.cause is not None and line.overturned_by is None
    return repaired and not line.held and line.closed + timedelta(days=days) <= today


def qualifying(unit: UnitOfWork, ids: Iterable[str], *, today: date) -> tuple[str, ...]:
    """Return those of ``ids`` that may be marked as held: past the period, and no comeback."""
    days = holding_days(unit)
    past = [line.id for line in unit.weeks.lines_of(ids) if may_hold(line, today, days)]
    back = {job.comeback_of for job in unit.weeks.back_in(past)}
    return tuple(case for case in past if case not in back)


def mark_held(unit: UnitOfWork, ids: Iterable[str], *, today: date) -> tuple[str, ...]:
    """Mark those of ``ids`` that still qualify as held, with one line of history each.

    At most ``MOST_AT_ONCE``, the oldest first.

    Returns
    -------
    tuple of str
        The ids that were marked.
    """
    days = holding_days(unit)
    held = qualifying(unit, ids, today=today)[:MOST_AT_ONCE]
    unit.held.mark(held, what=f"no comeback in {days} days")
    return held
