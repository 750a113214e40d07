"""How long repairs hold, by system, and whether one way of mending a cause holds better.

A car that nobody saw again is followed to the end of the holding period and no longer: within it a
repair that fails is brought back to who made it, beyond it silence says nothing. A car that comes
for other things is followed as long as it comes. A repair without a VIN has only its own chain of
comebacks, and so the holding period at most.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from datetime import timedelta
from itertools import permutations
from typing import Final

from kb.diagnosis.rates import ENOUGH_EACH
from kb.diagnosis.shares import more_often
from kb.diagnosis.survival import kaplan_meier
from kb.workflow.week.flags import strength
from kb.workflow.week.repairs import Repair, Repairs
from kb.workflow.week.rows import Level, WeekRow
from kb.workflow.week.seen import Seen
from kb.workflow.week.shares import share_of

# Our choice: a curve is told from 30 repairs on; without any comeback those say "9 in 10 at least".
_ENOUGH: Final = 30

Fixed = dict[str, list[Repair]]


def lasting(seen: Seen, found: Repairs) -> Iterator[WeekRow]:
    """Yield the curve of the shop and of each system, then the causes whose ways of mending differ.

    A repair fails when the car comes back with the same cause; one whose cause was another one
    was no repair of it, and is followed to that day.
    """
    if len(found.rows) < _ENOUGH:
        return
    by_system = defaultdict[str, list[Repair]](list)
    for row in found.rows:
        by_system[row.line.system or ""].append(row)
    compared, few = _compared(seen, found)
    yield _curve("", found.rows, found, few=few)
    for system, rows in sorted(by_system.items()):
        if system and len(rows) >= _ENOUGH:
            yield _curve(system, rows, found)
    yield from compared


def _curve(system: str, rows: Sequence[Repair], found: Repairs, *, few: int = 0) -> WeekRow:
    whole = kaplan_meier([float(row.days) for row in rows], [row.failed for row in rows])
    curve, held = whole.shown(), whole.held(found.holding)
    return WeekRow(
        kind="lasting",
        subject=(system,) if system else (),
        strength=1.0 - (held.share if held else 1.0),
        numbers={
            "system": system or None,
            "holding_days": found.holding,
            "repairs": len(rows),
            "failures": sum(row.failed for row in rows),
            "held": held
            and {
                "share": held.share,
                "low": held.low,
                "high": held.high,
                "at_risk": held.at_risk,
            },
            "times": list(curve.times),
            "survival": list(curve.survival),
            "low": list(curve.low),
            "high": list(curve.high),
            "at_risk": list(curve.at_risk),
            "fixes_too_few": few,
        },
    )


def _mended(seen: Seen, found: Repairs) -> dict[str, Fixed]:
    """Return the repairs of each cause by what was done, of those whose holding period is over."""
    over = seen.week.sunday - timedelta(days=found.holding)
    causes: defaultdict[str, Fixed] = defaultdict(lambda: defaultdict(list))
    for row in found.rows:
        if row.line.cause and row.line.fix and row.line.closed <= over:
            causes[row.line.cause][row.line.fix].append(row)
    return {cause: fixes for cause, fixes in causes.items() if len(fixes) > 1}


def _again(rows: Sequence[Repair], found: Repairs) -> tuple[int, int]:
    """Return how many failed within the holding period, of how many."""
    return sum(row.again is not None and row.again <= found.holding for row in rows), len(rows)


def _compared(seen: Seen, found: Repairs) -> tuple[list[WeekRow], int]:
    """Return the causes that one fix holds better for, and how many have too few to tell."""
    mended = _mended(seen, found)
    pairs: list[tuple[str, tuple[str, str]]] = []
    counts: list[tuple[tuple[int, int], tuple[int, int]]] = []
    few = 0
    for cause, fixes in mended.items():
        told = {fix: _again(rows, found) for fix, rows in fixes.items()}
        enough = sorted(fix for fix, (_, of) in told.items() if of >= ENOUGH_EACH)
        few += len(enough) < 2
        # Both ways round: whichever fails more often stands first.
        for pair in permutations(enough, 2):
            pairs.append((cause, pair))
            counts.append((told[pair[0]], told[pair[1]]))
    rows = [
        _fix_row(cause, pair, tested.p, fixes=mended[cause], found=found)
        for (cause, pair), tested in zip(pairs, more_often(counts), strict=True)
        if tested.found
    ]
    return rows, few


def _fix_row(
    cause: str, pair: tuple[str, str], p: float, *, fixes: Fixed, found: Repairs
) -> WeekRow:
    told = [{"fix": fix, **share_of(*_again(fixes[fix], found))} for fix in pair]
    failed = [row for fix in pair for row in fixes[fix] if row.failed]
    return WeekRow(
        kind="lasting",
        subject=("fix", cause, *pair),
        level=Level.LOOK,
        strength=strength(p),
        numbers={"cause": cause, "fixes": told, "p": p, "holding_days": found.holding},
        cases=tuple(row.line.id for row in reversed(failed)),
    )
