"""Money and promises: parts that did not cure, repairs declined, work-arounds, safety left undone.

Cautions that were shown and not ticked are not counted: nobody ticks cautions here, so a missing
tick would say nothing. What is looked at instead is a safety repair that the customer declined.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import timedelta
from typing import Any, Final

from kb.case.handover import dangers_of
from kb.store.week_records import TriedLine
from kb.workflow.week.left_undone import LeftUndone, left_undone
from kb.workflow.week.rows import Level, WeekRow
from kb.workflow.week.seen import Seen
from kb.workflow.week.shares import share_of, sum_known

# Jobs in which one part did not cure: from the first on it is worth a look, from the second on
# firm enough to make a rule of (our choice).
LOOK_FROM: Final = 2
ACT_FROM: Final = 3
# Days before its end from which a work-around is called in (our choice: time to order parts).
DUE_DAYS: Final = 14
# Weeks for which a declined safety repair stays on the list (our choice: half a year).
SAFETY_WEEKS: Final = 26


def money(seen: Seen) -> Iterator[WeekRow]:
    """Yield the rows of this topic."""
    yield from _lost(seen)
    left = left_undone(seen)
    yield from _declined(seen, left)
    yield from _workarounds(seen, left)
    yield from _safety(seen, left)


# --- parts that did not cure ----------------------------------------------------------------------


def _lost(seen: Seen) -> Iterator[WeekRow]:
    tried = seen.unit.week_records.tried(seen.first_recent.monday, seen.week.sunday)
    if not tried:
        return
    jobs = len(seen.recent_lines)
    yield WeekRow(kind="money_lost", numbers=_sums(tried, jobs), cases=_newest(tried, seen))
    by_part: dict[str, list[TriedLine]] = defaultdict(list)
    for row in tried:
        by_part[" ".join(row.part.lower().split())].append(row)
    for part, rows in by_part.items():
        numbers = _sums(rows, jobs)
        within = numbers["share"]["count"]
        if within >= LOOK_FROM:
            yield WeekRow(
                kind="money_lost",
                subject=(part,),
                level=Level.ACT if within >= ACT_FROM else Level.LOOK,
                strength=within,
                numbers=numbers | {"part": part, "causes": _proved(rows, seen)},
                cases=_newest(rows, seen),
            )


def _sums(rows: Sequence[TriedLine], jobs: int) -> dict[str, Any]:
    return {
        "times": len(rows),
        "share": share_of(len({row.job for row in rows}), jobs),
        "cents": sum_known([row.cost_cents for row in rows]),
        "minutes": sum_known([row.minutes for row in rows]),
    }


def _proved(rows: Iterable[TriedLine], seen: Seen) -> list[dict[str, Any]]:
    """Return what the cause proved to be, in how many jobs; None where none was found."""
    counts = Counter(seen.by_id[job].cause for job in dict.fromkeys(row.job for row in rows))
    ordered = sorted(counts.items(), key=lambda pair: (-pair[1], pair[0] or ""))
    return [{"cause": cause, "jobs": count} for cause, count in ordered]


def _newest(rows: Iterable[TriedLine], seen: Seen) -> tuple[str, ...]:
    lines = [seen.by_id[job] for job in {row.job for row in rows}]
    return tuple(line.id for line in sorted(lines, key=lambda line: (line.closed, line.id)))[::-1]


# --- repairs declined -----------------------------------------------------------------------------


def _declined(seen: Seen, left: Sequence[LeftUndone]) -> Iterator[WeekRow]:
    """Yield one row over 52 weeks: how many came back and how, and those not done yet, by age."""
    rows = [row for row in left if row.declined]
    waiting = [row for row in rows if not row.settled]
    if not rows:
        return
    value = sum_known([row.cents for row in waiting])
    yield WeekRow(
        kind="declined",
        level=Level.LOOK if waiting else Level.KNOW,
        strength=value["sum"] or 0,
        numbers={
            "back": share_of(sum(bool(row.visits) for row in rows), len(rows)),
            "done": share_of(sum(row.done for row in rows), len(rows)),
            "waiting": len(waiting),
            "cents": value,
            "jobs": [_as_listed(row, seen) | {"cents": row.cents} for row in waiting],
        },
        cases=_ids(waiting),
    )


def _as_listed(row: LeftUndone, seen: Seen) -> dict[str, Any]:
    return {
        "job": row.line.id,
        "car": row.line.car,
        "cause": row.line.cause,
        "days": (seen.week.sunday - row.line.closed).days,
        "back": _back(row),
    }


def _back(row: LeftUndone) -> dict[str, Any] | None:
    """Return the first visit since, and how: as a comeback, with which cause, or open still."""
    if not row.visits:
        return None
    first = row.visits[0]
    return {
        "job": first.job,
        "comeback": first.comeback_of is not None,
        "open": first.closed is None,
        "cause": first.cause,
        "same": first.cause is not None and first.cause == row.line.cause,
    }


def _ids(rows: Iterable[LeftUndone]) -> tuple[str, ...]:
    return tuple(row.line.id for row in rows)


# --- work-arounds ---------------------------------------------------------------------------------


def _workarounds(seen: Seen, left: Iterable[LeftUndone]) -> Iterator[WeekRow]:
    """Yield those whose time is up, those that end soon, and those without an end.

    A car that came back since is off the list: it was looked at.
    """
    rows = [row for row in left if row.workaround and not row.visits]
    dated = [row for row in rows if row.left.until]
    dated.sort(key=lambda row: (row.left.until, row.line.id))
    end = seen.week.sunday
    over = [row for row in dated if row.left.until and row.left.until <= end]
    soon = end + timedelta(days=DUE_DAYS)
    due = [row for row in dated if row.left.until and end < row.left.until <= soon]
    endless = [row for row in rows if row.left.until is None]
    groups: Mapping[str, list[LeftUndone]] = {"over": over, "due": due, "no_end": endless}
    for name, group in groups.items():
        if group:
            yield WeekRow(
                kind="workaround",
                subject=(name,),
                level=Level.ACT if name == "over" else Level.LOOK,
                strength=len(group),
                numbers={"jobs": [_until(row, seen) for row in group]},
                cases=_ids(group),
            )


def _until(row: LeftUndone, seen: Seen) -> dict[str, Any]:
    until = row.left.until
    return {
        "job": row.line.id,
        "car": row.line.car,
        "cause": row.line.cause,
        "until": until.isoformat() if until else None,
        # Days past its end by the end of the week, below 0 while it still lasts.
        "over": (seen.week.sunday - until).days if until else None,
        "days": (seen.week.sunday - row.line.closed).days,
    }


# --- safety ---------------------------------------------------------------------------------------


def _safety(seen: Seen, left: Iterable[LeftUndone]) -> Iterator[WeekRow]:
    """Yield the safety repairs left undone: this week's, and those of half a year before.

    A car that came back for something else and left with the same danger stays on the list.
    """
    first = seen.week.shifted(1 - SAFETY_WEEKS).monday
    rows = [row for row in left if row.line.closed >= first and not row.settled]
    dangerous = {
        cause for cause in {row.line.cause for row in rows} if dangers_of(cause, seen.words)
    }
    rows = [row for row in rows if row.line.cause in dangerous]
    week = [row for row in rows if row.line.closed >= seen.week.monday]
    before = [row for row in rows if row.line.closed < seen.week.monday]
    for name, level, group in (("week", Level.ACT, week), ("before", Level.LOOK, before)):
        if group:
            yield WeekRow(
                kind="safety",
                subject=(name,),
                level=level,
                strength=len(group),
                numbers={
                    "told": sum(row.told for row in group),
                    "jobs": [
                        _as_listed(row, seen) | {"told": row.told, "workaround": row.workaround}
                        for row in group
                    ],
                },
                cases=_ids(group),
            )
