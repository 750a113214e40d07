"""Parts that failed again, by who supplied them and by lot, held against others of the same part.

A part failed where the car came back with the same cause within a year of the repair. Where a
repair fitted several parts each of them counts: which one it was is not written down.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import Any, Final

from kb.case.parts import FittedPart
from kb.diagnosis.rates import exact_interval
from kb.diagnosis.shares import more_often
from kb.diagnosis.survival import weibull
from kb.diagnosis.two_rates import Weighed
from kb.workflow.week.by_week import newest_cases
from kb.workflow.week.flags import strength
from kb.workflow.week.repairs import Repair, Repairs
from kb.workflow.week.rows import Level, WeekRow
from kb.workflow.week.seen import Seen

# A year, as trade practice counts a failure to the part (common practice, no source), and the two
# years of repairs that are looked at (our choice).
_WITHIN: Final = 365
_WEEKS: Final = 104
# The least failures, and parts fitted, that are worth a word (our choice).
_FAILURES: Final = 3
_FITTED: Final = 5
# Our choice: worth a look below this chance; a lot that has two in three of its supplier's failures
# is told in place of the supplier.
_LOOK: Final = 0.05
_LOT_HAS: Final = 2 / 3

# Part, supplier and lot in small letters; an empty lot stands for all of a supplier's.
Key = tuple[str, str, str]


@dataclass(slots=True)
class _Fitted:
    """The repairs that fitted one part of one supplier, and how it is written."""

    repairs: list[Repair] = field(default_factory=list)
    failures: int = 0
    written: FittedPart | None = None

    def failed(self) -> list[Repair]:
        """Return those that failed within a year, the newest repair first."""
        return [row for row in reversed(self.repairs) if _failed(row)]

    def count(self) -> tuple[int, int]:
        """Return how many failed, of how many."""
        return self.failures, len(self.repairs)


def _failed(row: Repair) -> bool:
    return row.again is not None and row.again <= _WITHIN


def failed_parts(seen: Seen, found: Repairs) -> Iterator[WeekRow]:
    """Yield suppliers and lots whose parts failed again."""
    first = seen.week.shifted(1 - _WEEKS).monday
    repairs = {row.line.id: row for row in found.rows if row.line.closed >= first}
    by_key, by_part = _counted(seen, repairs)
    # Chosen by how many were fitted, never by how many failed.
    keys = [key for key, row in by_key.items() if len(row.repairs) >= _FITTED]
    pairs = [(by_key[key].count(), _others(by_part[key[0]], by_key[key])) for key in keys]
    tested = dict(zip(keys, more_often(pairs), strict=True))
    others = {key: pair[1] for key, pair in zip(keys, pairs, strict=True)}
    told = [
        key
        for key in keys
        if by_key[key].failures >= _FAILURES and (tested[key].p < _LOOK or not others[key][1])
    ]
    for key in told:
        if not _told_by_lot(key, told, by_key):
            yield _row(key, by_key[key], (tested[key], others[key]))


def _counted(
    seen: Seen, repairs: Mapping[str, Repair]
) -> tuple[dict[Key, _Fitted], dict[str, _Fitted]]:
    """Return what was fitted by supplier and lot, and by part alone, each repair once."""
    first = seen.week.shifted(1 - _WEEKS).monday
    by_key: defaultdict[Key, _Fitted] = defaultdict(_Fitted)
    by_part: defaultdict[str, _Fitted] = defaultdict(_Fitted)
    parts = seen.unit.weeks.parts(first, seen.week.sunday)
    rows = [(repairs[job], part) for job, part in parts if job in repairs]
    for repair, part in sorted(rows, key=lambda row: row[0].line.closed):
        name = part.part.casefold()
        _add(by_part[name], repair, part)
        if part.supplier:
            supplier = part.supplier.casefold()
            for lot in {"", (part.lot or "").casefold()}:
                _add(by_key[name, supplier, lot], repair, part)
    return dict(by_key), dict(by_part)


def _add(fitted: _Fitted, repair: Repair, part: FittedPart) -> None:
    if not fitted.repairs or fitted.repairs[-1] is not repair:
        fitted.repairs.append(repair)
        fitted.failures += _failed(repair)
    fitted.written = part


def _others(all_of_it: _Fitted, own: _Fitted) -> tuple[int, int]:
    """Return failed and fitted of the same part from elsewhere."""
    (failed, of), (own_failed, own_of) = all_of_it.count(), own.count()
    return failed - own_failed, of - own_of


def _told_by_lot(key: Key, told: Sequence[Key], by_key: Mapping[Key, _Fitted]) -> bool:
    """Say whether one lot has most failures of a supplier, so that the lot is told instead."""
    if key[2]:
        return False
    lots = [by_key[row].count()[0] for row in told if row[:2] == key[:2] and row[2]]
    return max(lots, default=0) >= _LOT_HAS * by_key[key].count()[0]


def _row(key: Key, fitted: _Fitted, held_against: tuple[Weighed, tuple[int, int]]) -> WeekRow:
    tested, others = held_against
    failed, of = fitted.count()
    low, high = exact_interval(failed, of)
    part = fitted.written
    assert part is not None
    p = tested.p if others[1] else None
    return WeekRow(
        kind="failed_part",
        subject=key,
        level=_level(p, tested),
        strength=strength(p),
        numbers={
            "part": part.part,
            "supplier": part.supplier,
            "lot": part.lot if key[2] else None,
            "count": failed,
            "of": of,
            "low": low,
            "high": high,
            "others": {"count": others[0], "of": others[1]},
            "p": p,
            "within_days": _WITHIN,
            "weeks": _WEEKS,
            **_life(fitted),
        },
        cases=newest_cases([row.line for row in fitted.failed()]),
    )


def _level(p: float | None, tested: Weighed) -> Level:
    if p is None:
        return Level.KNOW
    return Level.ACT if tested.found else Level.LOOK


def _life(fitted: _Fitted) -> dict[str, Any]:
    """Return how soon the failed ones failed, and the shape of the life where 5 or more did."""
    life = weibull(
        [float(row.days) for row in fitted.repairs], [row.failed for row in fitted.repairs]
    )
    return {
        "median_days": median(row.again for row in fitted.failed() if row.again is not None),
        "shape": life.shape if life else None,
    }
