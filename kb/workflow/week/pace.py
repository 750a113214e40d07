"""Days from opening a job to its proven cause written down, week by week."""

from collections.abc import Iterable, Iterator, Sequence
from statistics import quantiles
from typing import Any, Final

from kb.store.week_rows import ClosedLine
from kb.workflow.week.rows import WeekRow
from kb.workflow.week.seen import BEFORE, RECENT, Seen

# Fewer jobs have no middle half worth a word; weeks that are kept for the picture, half a year;
# slowest jobs that the row points to (all our choice).
LEAST: Final = 5
SHOWN_WEEKS: Final = 26
SLOWEST: Final = 8


def pace(seen: Seen) -> Iterator[WeekRow]:
    """Return one row: how many days jobs took, by week, lately and in the year before.

    Days are those between the date of opening and that of closing: 0 is the same day. Nothing
    where no job with a cause was closed lately. A job whose dates stand the wrong way round took no
    days that anybody knows, and is left out.
    """
    proven = [row for row in seen.lines if row.cause and row.opened <= row.closed]
    weeks = _by_week(proven, seen)
    recent, before = weeks[-RECENT:], weeks[-RECENT - BEFORE : -RECENT]
    if not any(recent):
        return
    shown = weeks[-SHOWN_WEEKS:]
    numbers = {
        "weeks": [
            {"week": str(seen.week.shifted(at - len(shown))), **quartiles(_days(rows))}
            for at, rows in enumerate(shown, 1)
        ],
        "recent": quartiles(_days(row for rows in recent for row in rows)),
        "before": quartiles(_days(row for rows in before for row in rows)),
        "minutes": quartiles(_minutes(seen)),
    }
    slowest = sorted(weeks[-1], key=lambda row: (-(row.closed - row.opened).days, row.id))
    yield WeekRow(kind="pace", numbers=numbers, cases=tuple(row.id for row in slowest[:SLOWEST]))


def _by_week(lines: Iterable[ClosedLine], seen: Seen) -> list[list[ClosedLine]]:
    weeks: list[list[ClosedLine]] = [[] for _ in range(seen.length)]
    for row in lines:
        weeks[seen.at(row)].append(row)
    return weeks


def _days(lines: Iterable[ClosedLine]) -> list[float]:
    return [float((row.closed - row.opened).days) for row in lines]


def _minutes(seen: Seen) -> list[float]:
    """Return the minutes of all checks of each recent job that has any written down."""
    found = []
    for job in seen.jobs:
        known = [row.minutes for row in job.findings if row.minutes is not None]
        if known and job.cause:
            found.append(sum(known))
    return found


def quartiles(values: Sequence[float]) -> dict[str, Any]:
    """Return how many values there are, and where their middle half lies.

    ``low``, ``middle`` and ``high`` are None below ``LEAST`` values. Quartiles between two values
    are interpolated, the least and the largest being 0 % and 100 % (type 7 of Hyndman & Fan 1996,
    Sample quantiles in statistical packages; from memory).

    Examples
    --------
    >>> quartiles([0.0, 1.0, 1.0, 2.0, 9.0])
    {'jobs': 5, 'low': 1.0, 'middle': 1.0, 'high': 2.0}
    >>> quartiles([3.0])
    {'jobs': 1, 'low': None, 'middle': None, 'high': None}
    """
    if len(values) < LEAST:
        return {"jobs": len(values), "low": None, "middle": None, "high": None}
    low, middle, high = quantiles(values, n=4, method="inclusive")
    return {"jobs": len(values), "low": low, "middle": middle, "high": high}
