"""What each system brings now against the same weeks of last year, car for car."""

from collections.abc import Iterator
from typing import Any, Final

from kb.diagnosis.rates import ENOUGH_EACH, rate_ratio
from kb.diagnosis.season import LEAST_WEEKS
from kb.diagnosis.two_rates import TwoCounts, Weighed, more_now
from kb.workflow.week.by_week import Tally
from kb.workflow.week.flags import strength
from kb.workflow.week.rows import WeekRow
from kb.workflow.week.seen import Seen

# A quarter of a year, and the weeks to the same ones of last year (our choice).
_QUARTER: Final = 13
_YEAR: Final = 52


def seasons(seen: Seen) -> Iterator[WeekRow]:
    """Yield the systems that bring more or less than a year ago; one row that says none does.

    Each system is held against all cars of the shop, a batch of one model on one day counting
    once; both ways, by Benjamini and Hochberg over the systems.
    """
    if seen.length < max(LEAST_WEEKS, _YEAR + _QUARTER):
        return
    counts = _counts(seen)
    tested = more_now(list(counts.values()), both_ways=True)
    told = list(zip(counts.items(), tested, strict=True))
    rows = [_row(system, count, each) for (system, count), each in told if each.found]
    yield from rows
    if counts and not rows:
        few = [system for system, row in counts.items() if min(_pair(row)) < ENOUGH_EACH]
        yield WeekRow(
            kind="season",
            numbers={
                "systems": [_numbers(system, row) for system, row in counts.items()],
                "too_few": few,
                "weeks": _QUARTER,
            },
        )


def _pair(row: TwoCounts) -> tuple[int, int]:
    return row.recent, row.before


def _counts(seen: Seen) -> dict[str, TwoCounts]:
    """Return the arrivals of each system in both quarters, out of those of all systems."""
    tallies: dict[str, Tally] = {}
    for placed in seen.placed:
        system = placed[3].system
        if not system:
            continue
        if system not in tallies:
            tallies[system] = Tally(length=seen.length)
        tallies[system].add(placed)
    now, then = slice(-_QUARTER, None), slice(-_QUARTER - _YEAR, -_YEAR)
    weekly = {key: row.weekly() for key, row in tallies.items()}
    sums = {key: (sum(row[now]), sum(row[then])) for key, row in weekly.items()}
    recent, before = (sum(row[at] for row in sums.values()) for at in (0, 1))
    return {
        system: TwoCounts(
            recent=sums[system][0],
            before=sums[system][1],
            recent_exposure=recent,
            before_exposure=before,
        )
        for system in sorted(sums)
    }


def _numbers(system: str, row: TwoCounts) -> dict[str, Any]:
    now, then = row.recent_exposure, row.before_exposure
    if not (now and then):
        return {"system": system, "recent": row.recent, "before": row.before, "ratio": None}
    ratio = rate_ratio(row.recent, row.before, first_exposure=now, second_exposure=then)
    return {
        "system": system,
        "recent": row.recent,
        "before": row.before,
        "recent_of": int(now),
        "before_of": int(then),
        "recent_per_100": 100 * row.recent / now,
        "before_per_100": 100 * row.before / then,
        "ratio": ratio.ratio if row.before else None,
        "low": ratio.low,
        "high": ratio.high if row.before else None,
    }


def _row(system: str, row: TwoCounts, tested: Weighed) -> WeekRow:
    numbers = _numbers(system, row) | {"p": tested.p, "weeks": _QUARTER}
    return WeekRow(kind="season", subject=(system,), strength=strength(tested.p), numbers=numbers)
