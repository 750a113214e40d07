"""Parts that failed again, by who supplied them and by lot, held against others of the same part.

A part failed where the car came back with the same cause within a year of the repair. Where a
repair fitted several parts each of them counts: which one it was is not written down.
"""

from bisect import bisect_right, insort
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from statistics import median
from typing import Any, Final

from kb.case.iso_week import IsoWeek
from kb.case.parts import FittedPart
from kb.diagnosis.rates import exact_interval
from kb.diagnosis.shares import more_often
from kb.diagnosis.survival import weibull
from kb.diagnosis.trends import ALERT, NEWS_WEEKS, QUIET, WATCH
from kb.diagnosis.two_rates import Weighed
from kb.workflow.week.by_week import newest_cases
from kb.workflow.week.flags import LEVELS, Flag, flagged, flags_of, strength
from kb.workflow.week.repairs import Repair, Repairs
from kb.workflow.week.rows import Level, WeekRow, key_of
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
    """The repairs that fitted one part of one supplier, by day, and how the part is written."""

    repairs: list[Repair] = field(default_factory=list)
    closed: list[date] = field(default_factory=list)
    failed_on: list[date] = field(default_factory=list)
    written: FittedPart | None = None

    def add(self, repair: Repair, part: FittedPart) -> None:
        """Count a repair once, though it fitted two; repairs come in the order of their close."""
        if not self.repairs or self.repairs[-1] is not repair:
            self.repairs.append(repair)
            self.closed.append(repair.line.closed)
            if _failed(repair):
                insort(self.failed_on, repair.line.closed + timedelta(days=repair.again or 0))
        self.written = part

    def failed(self) -> list[Repair]:
        """Return those that failed within a year, the newest repair first."""
        return [row for row in reversed(self.repairs) if _failed(row)]

    def count(self, day: date) -> tuple[int, int]:
        """Return how many had failed by the end of a day, of how many."""
        return bisect_right(self.failed_on, day), bisect_right(self.closed, day)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Judged:
    """One supplier or lot: failed and fitted, those of the same part from elsewhere, and the test."""

    own: tuple[int, int]
    others: tuple[int, int]
    weighed: Weighed

    @property
    def flag(self) -> str:
        """The flag; none where there is nothing to hold it against."""
        if self.own[0] < _FAILURES or not self.others[1] or self.weighed.p >= _LOOK:
            return QUIET
        return ALERT if self.weighed.found else WATCH


def _failed(row: Repair) -> bool:
    return row.again is not None and row.again <= _WITHIN


def failed_parts(seen: Seen, found: Repairs) -> Iterator[WeekRow]:
    """Yield suppliers and lots whose parts failed again."""
    first = seen.week.shifted(1 - _WEEKS).monday
    repairs = {row.line.id: row for row in found.rows if row.line.closed >= first}
    by_key, by_part = _counted(seen, repairs)
    # What was fitted too seldom by now was so in every earlier week.
    by_key = {key: row for key, row in by_key.items() if len(row.repairs) >= _FITTED}

    now = _judged(by_key, by_part, seen.week.sunday)
    pressing = {key: by_key[key] for key, row in now.items() if row.flag}

    def review(ago: int) -> dict[str, str]:
        # Farther back only whether these were flagged at all is asked, each by itself.
        asked = by_key if ago <= NEWS_WEEKS else pressing
        then = _judged(asked, by_part, seen.week.shifted(-ago).sunday)
        return flagged((key_of(*key), row.flag) for key, row in then.items())

    known = flagged((key_of(*key), row.flag) for key, row in now.items())
    flags = flags_of(known, review, weeks=seen.length)
    told = [
        key
        for key, row in now.items()
        if key_of(*key) in flags or (row.own[0] >= _FAILURES and not row.others[1])
    ]
    for key in told:
        if not _told_by_lot(key, told, now):
            flag = flags.get(key_of(*key))
            yield _row(key, by_key[key], now[key], flag=flag, week=seen.week)


def _judged(
    by_key: Mapping[Key, _Fitted], by_part: Mapping[str, _Fitted], day: date
) -> dict[Key, _Judged]:
    """Return what was known by the end of a day of all that were fitted often enough.

    They are chosen by how many were fitted, never by how many failed.
    """
    counts = {key: row.count(day) for key, row in by_key.items()}
    own = {key: count for key, count in counts.items() if count[1] >= _FITTED}
    whole = {part: row.count(day) for part, row in by_part.items()}
    others = {
        key: (whole[key[0]][0] - count[0], whole[key[0]][1] - count[1])
        for key, count in own.items()
    }
    tested = more_often([(own[key], others[key]) for key in own])
    return {
        key: _Judged(own=own[key], others=others[key], weighed=weighed)
        for key, weighed in zip(own, tested, strict=True)
    }


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
        by_part[name].add(repair, part)
        if part.supplier:
            supplier = part.supplier.casefold()
            for lot in {"", (part.lot or "").casefold()}:
                by_key[name, supplier, lot].add(repair, part)
    return dict(by_key), dict(by_part)


def _told_by_lot(key: Key, told: Sequence[Key], now: Mapping[Key, _Judged]) -> bool:
    """Say whether one lot has most failures of a supplier, so that the lot is told instead."""
    if key[2]:
        return False
    lots = [now[row].own[0] for row in told if row[:2] == key[:2] and row[2]]
    return max(lots, default=0) >= _LOT_HAS * now[key].own[0]


def _row(
    key: Key, fitted: _Fitted, judged: _Judged, *, flag: Flag | None, week: IsoWeek
) -> WeekRow:
    failed, of = judged.own
    low, high = exact_interval(failed, of)
    part = fitted.written
    assert part is not None
    p = judged.weighed.p if judged.others[1] else None
    return WeekRow(
        kind="failed_part",
        subject=key,
        # A bad lot stays a matter for as long as it is bad, told before or not.
        level=LEVELS[flag.name] if flag else Level.KNOW,
        strength=strength(p),
        numbers={
            "part": part.part,
            "supplier": part.supplier,
            "lot": part.lot if key[2] else None,
            "count": failed,
            "of": of,
            "low": low,
            "high": high,
            "others": {"count": judged.others[0], "of": judged.others[1]},
            "p": p,
            "flag": flag.name if flag else None,
            "new": flag is None or flag.new,
            "since": str(week.shifted(-flag.since)) if flag else None,
            "within_days": _WITHIN,
            "weeks": _WEEKS,
            **_life(fitted),
        },
        cases=newest_cases([row.line for row in fitted.failed()]),
    )


def _life(fitted: _Fitted) -> dict[str, Any]:
    """Return how soon the failed ones failed, and the shape of the life where 5 or more did."""
    life = weibull(
        [float(row.days) for row in fitted.repairs], [row.failed for row in fitted.repairs]
    )
    return {
        "median_days": median(row.again for row in fitted.failed() if row.again is not None),
        "shape": life.shape if life else None,
    }
