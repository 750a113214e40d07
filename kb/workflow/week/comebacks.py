"""Cars that came back: this week's, how many do by system, and the repairs that held."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from typing import Any, Final

from kb.case.iso_week import IsoWeek
from kb.diagnosis.shares import share_bands
from kb.store.week_rows import Comeback
from kb.workflow.hold import may_hold
from kb.workflow.week.comeback_rates import AtRisk, Rate, rates_up
from kb.workflow.week.failed_parts import failed_parts
from kb.workflow.week.flags import strength
from kb.workflow.week.lasting import lasting
from kb.workflow.week.repairs import Repair, Repairs, repairs_of
from kb.workflow.week.rows import Level, WeekRow
from kb.workflow.week.seen import Seen
from kb.workflow.week.shares import share_of

# Weeks of closes that a share is told of: a quarter of a year (our choice).
_QUARTER: Final = 13
# Weeks of closes that the chart shows (our choice), and the repairs that a week's share needs:
# common practice, no source.
_SHOWN: Final = 26
_ENOUGH: Final = 20


def comebacks(seen: Seen) -> Iterator[WeekRow]:
    """Yield what came back, the parts that failed again, what held, and how long repairs hold."""
    found = repairs_of(seen)
    yield from came_back(seen, found)
    yield from failed_parts(seen, found)
    yield from held(seen, found)
    yield from lasting(seen, found)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Window:
    """Repairs whose holding period is over: those of a quarter, and those of the year before."""

    now: tuple[Repair, ...]
    before: tuple[Repair, ...]
    first: IsoWeek
    last: IsoWeek


def _window(seen: Seen, found: Repairs) -> _Window:
    """Return the newest whole weeks of closes of which every repair had its full period to fail."""
    over = seen.week.sunday - timedelta(days=found.holding)
    last = IsoWeek.of(over + timedelta(days=1)).shifted(-1)
    first = last.shifted(1 - _QUARTER)
    year = first.shifted(-52).monday
    rows = [row for row in found.rows if year <= row.line.closed <= last.sunday]
    return _Window(
        now=tuple(row for row in rows if row.line.closed >= first.monday),
        before=tuple(row for row in rows if row.line.closed < first.monday),
        first=first,
        last=last,
    )


def came_back(seen: Seen, found: Repairs) -> Iterator[WeekRow]:
    """Yield one row for the shop, and one for each system where more come back than used to."""
    window = _window(seen, found)
    came = _this_week(seen, found)
    rates = rates_up(seen, AtRisk(seen, found))
    overall = rates.pop("", None)
    if window.now or came:
        yield _shop_row(seen, found, (window, came, overall))
    for system, rate in rates.items():
        own = [row for row in window.now if row.line.system == system]
        before = [row for row in window.before if row.line.system == system]
        yield WeekRow(
            kind="came_back",
            subject=(system,),
            level=rate.flag.level,
            strength=strength(rate.p),
            numbers={
                "system": system,
                "holding_days": found.holding,
                **_share(own, found),
                "before": _share(before, found),
                "rate": rate.as_json(seen),
            },
            cases=rate.cases,
        )


def _share(rows: Sequence[Repair], found: Repairs) -> dict[str, Any]:
    return share_of(sum(row.back_within(found.holding) for row in rows), len(rows))


def _overturned(row: Repair, back: Comeback) -> bool:
    """Say whether a comeback was proven to have another cause than the one repaired."""
    return back.cause is not None and back.cause != row.line.cause


def _this_week(seen: Seen, found: Repairs) -> list[tuple[Repair, Comeback]]:
    """Return the comebacks that came in or were closed in the week, overturned cases first."""
    by_id = {row.line.id: row for row in found.rows}
    first = seen.week.monday
    rows = [
        (by_id[back.of], back)
        for back in seen.comebacks
        if back.of in by_id and (back.opened >= first or (back.closed and back.closed >= first))
    ]
    return sorted(rows, key=lambda pair: not _overturned(*pair))


def _shop_row(
    seen: Seen,
    found: Repairs,
    row: tuple[_Window, Sequence[tuple[Repair, Comeback]], Rate | None],
) -> WeekRow:
    window, came, rate = row
    wrong = sum(_overturned(*pair) for pair in came)
    by_system = defaultdict[str, list[Repair]](list)
    for repair in window.now:
        by_system[repair.line.system or ""].append(repair)
    level = Level.ACT if wrong else rate.flag.level if rate else Level.KNOW
    return WeekRow(
        kind="came_back",
        level=level,
        strength=float(wrong) + strength(rate.p if rate else None),
        numbers={
            "holding_days": found.holding,
            **_share(window.now, found),
            "first": str(window.first),
            "last": str(window.last),
            "before": _share(window.before, found),
            "came": [_came(*pair) for pair in came],
            "overturned": wrong,
            "systems": [
                {"system": system, **_share(rows, found)}
                for system, rows in sorted(by_system.items())
            ],
            "weeks": _chart(window, found),
            "rate": rate.as_json(seen) if rate else None,
        },
        cases=tuple(case for row, back in came for case in (row.line.id, back.id)),
    )


def _came(row: Repair, back: Comeback) -> dict[str, Any]:
    return {
        "case": row.line.id,
        "back": back.id,
        "system": row.line.system,
        "cause": row.line.cause,
        "cause_now": back.cause,
        "days": (back.opened - row.line.closed).days,
        "car": row.line.car,
        "overturned": _overturned(row, back),
    }


def _chart(window: _Window, found: Repairs) -> list[dict[str, Any]]:
    """Return the weeks of closes with enough repairs, each with the band of the common share."""
    rows = (*window.before, *window.now)
    weeks = defaultdict[IsoWeek, list[Repair]](list)
    for row in rows:
        weeks[IsoWeek.of(row.line.closed)].append(row)
    common = _share(rows, found)
    centre = common["count"] / common["of"] if common["of"] else 0.0
    first = window.last.shifted(1 - _SHOWN)
    told = sorted(week for week, own in weeks.items() if week >= first and len(own) >= _ENOUGH)
    bands = share_bands(centre, [len(weeks[week]) for week in told])
    return [
        {
            "week": str(week),
            "count": sum(row.back_within(found.holding) for row in weeks[week]),
            "of": len(weeks[week]),
            "centre": centre,
            "lower": low,
            "upper": high,
        }
        for week, (low, high) in zip(told, bands, strict=True)
    ]


def held(seen: Seen, found: Repairs) -> Iterator[WeekRow]:
    """Yield the cases past their holding period that may be marked as held; none, no row."""
    today = seen.week.sunday
    ids = tuple(
        row.line.id
        for row in found.rows
        if row.back is None
        and (row.again is None or row.again > found.holding)
        and may_hold(row.line, today, found.holding)
    )
    if ids:
        numbers = {"count": len(ids), "holding_days": found.holding}
        yield WeekRow(kind="held", numbers=numbers, strength=float(len(ids)), cases=ids)
