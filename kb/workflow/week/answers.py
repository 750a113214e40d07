"""Answers: whether they helped, what was new ground, what was mixed up, what nobody met for long."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Final

from kb.diagnosis.measure import Answered, score_causes
from kb.diagnosis.reliability import reliability
from kb.store.answers import ShownAnswer
from kb.store.week_rows import ClosedLine
from kb.workflow.suggest import CAUSES_SHOWN
from kb.workflow.week.rows import Level, WeekRow
from kb.workflow.week.seen import Seen
from kb.workflow.week.shares import share_of

# Answered cases from which it is told whether the answers helped (trade practice: n at least 10),
# and the place up to which a cause counts as shown first.
ENOUGH: Final = 10
FIRST_PLACES: Final = 3
# Times a pair is mistaken from which it is named, and from which it is worth a look; pairs named;
# times a check brought out the right one from which it is named, checks named (our choice).
PAIR_FROM: Final = 2
PAIR_LOOK: Final = 3
MOST_PAIRS: Final = 5
APART_FROM: Final = 2
MOST_APART: Final = 3
# Whole weeks of the 36 months after which a case nobody met is old (trade practice), and for how
# long answers must have been kept before it can be said that nobody met it (our choice).
OLD_WEEKS: Final = 156
KEPT_FOR: Final = timedelta(weeks=52)
SEARCHES: Final = 8
CASES: Final = 8

# A closed case with what was said of it before its cause was told.
Pair = tuple[ClosedLine, ShownAnswer]


def answers(seen: Seen) -> Iterator[WeekRow]:
    """Yield the rows of this topic; a close before which no cause was named tells nothing of it."""
    told = [
        (line, seen.shown[line.id])
        for line in seen.lines
        if line.id in seen.shown and seen.shown[line.id].causes
        if line.cause and not line.overturned_by
    ]
    yield from _helped(seen, told)
    yield from _new_ground(seen)
    yield from _mixed_up(told)
    yield from _old_knowledge(seen)


def _newest(pairs: Iterable[Pair]) -> tuple[str, ...]:
    return tuple(line.id for line, _ in reversed(list(pairs)))[:CASES]


# --- did they help -------------------------------------------------------------------------------


def _answered(causes: Iterable[tuple[str | None, float]], truth: str | None) -> Answered:
    rows = tuple(causes)
    return Answered(
        causes=tuple(cause for cause, _ in rows),
        chances=tuple(chance for _, chance in rows),
        truth=truth,
    )


def _in_first(rows: Sequence[Answered]) -> int:
    return sum(row.rank is not None and row.rank <= FIRST_PLACES for row in rows)


def _scores(rows: Sequence[Answered]) -> dict[str, Any]:
    """Return how often the cause was among the first, and both scores, as values for a row."""
    made = score_causes(rows)
    return {
        "share": share_of(_in_first(rows), len(rows)),
        "mrr": made["mrr"],
        "brier": made["brier"],
    }


def _usual(lines: Iterable[ClosedLine]) -> list[tuple[str | None, float]]:
    """Return the most frequent causes with their shares: what one could say of any job."""
    counts = Counter(line.cause for line in lines if line.cause)
    order = sorted(counts.items(), key=lambda pair: (-pair[1], pair[0]))
    return [(cause, count / counts.total()) for cause, count in order[:CAUSES_SHOWN]]


def _helped(seen: Seen, told: Sequence[Pair]) -> Iterator[WeekRow]:
    first = seen.first_recent.monday
    recent = [pair for pair in told if pair[0].closed >= first]
    if len(recent) < ENOUGH:
        return
    rows = [_answered(shown.causes, line.cause) for line, shown in recent]
    usual = _usual(line for line in seen.lines if line.closed < first)
    base = _scores([_answered(usual, line.cause) for line, _ in recent]) if usual else None
    scores = _scores(rows)
    worse = base is not None and scores["share"]["high"] < base["share"]["low"]
    missed = [pair for pair, row in zip(recent, rows, strict=True) if not _in_first([row])]
    yield WeekRow(
        kind="answers_helped",
        level=Level.LOOK if worse else Level.KNOW,
        strength=scores["share"]["low"],
        numbers={**scores, "usual": base, "bands": _bands(rows)},
        cases=_newest(missed),
    )


def _bands(rows: Sequence[Answered]) -> list[dict[str, Any]]:
    return [{**asdict(band), "interval": list(band.interval)} for band in reliability(rows)]


# --- new ground ----------------------------------------------------------------------------------


def _new_ground(seen: Seen) -> Iterator[WeekRow]:
    """Yield one row: cases of the week that nothing was like, and searches that found nothing."""
    start = datetime.combine(seen.week.monday, time(), UTC)
    end = start + timedelta(weeks=1)
    lost = [row for row in seen.unit.searches.since(start) if row.at < end]
    asked = dict.fromkeys(", ".join(filter(None, (row.text, row.vehicle))) for row in lost)
    closed = [
        line
        for line in seen.lines
        if line.closed >= seen.week.monday and line.cause and line.id in seen.shown
    ]
    new = [line.id for line in closed if seen.shown[line.id].nothing_like_it]
    if not new and not asked:
        return
    yield WeekRow(
        kind="new_ground",
        level=Level.LOOK if new else Level.KNOW,
        strength=float(len(new)),
        numbers={
            "cases": len(new),
            "of": len(closed),
            "searches": len(asked),
            "asked": list(asked)[:SEARCHES],
        },
        cases=tuple(new),
    )


# --- taken for each other ------------------------------------------------------------------------


def _first_named(shown: ShownAnswer) -> str | None:
    """Return the cause that stood first, None where "something else" did."""
    return shown.causes[0][0] if shown.causes else None


def _mixed_up(told: Sequence[Pair]) -> Iterator[WeekRow]:
    by_cause: dict[str, list[Pair]] = defaultdict(list)
    pairs: dict[tuple[str, str], list[Pair]] = defaultdict(list)
    for line, shown in told:
        said, cause = _first_named(shown), line.cause or ""
        by_cause[cause].append((line, shown))
        if said and said != cause:
            pairs[said, cause].append((line, shown))
    order = sorted(pairs.items(), key=lambda row: (-len(row[1]), row[0]))
    for (said, cause), rows in order[:MOST_PAIRS]:
        if len(rows) < PAIR_FROM:
            continue
        yield WeekRow(
            kind="mixed_up",
            subject=(said, cause),
            level=Level.LOOK if len(rows) >= PAIR_LOOK else Level.KNOW,
            strength=float(len(rows)),
            numbers={
                "share": share_of(len(rows), len(by_cause[cause])),
                "apart": _apart([*by_cause[said], *by_cause[cause]]),
            },
            cases=_newest(rows),
        )


def _apart(pairs: Iterable[Pair]) -> list[list[Any]]:
    """Return the checks that put the right cause first where it was first in the end.

    The finding after which another cause led for the last time brought the one that stayed.
    """
    counts: Counter[str] = Counter()
    for line, shown in pairs:
        turns = [gain.check for gain in shown.gains if gain.lead_changed]
        if turns and _first_named(shown) == line.cause:
            counts[turns[-1]] += 1
    order = sorted(counts.items(), key=lambda row: (-row[1], row[0]))
    return [[check, count] for check, count in order if count >= APART_FROM][:MOST_APART]


# --- what nobody met for long --------------------------------------------------------------------


def _old_knowledge(seen: Seen) -> Iterator[WeekRow]:
    start, end = seen.week.shifted(1 - OLD_WEEKS).monday, seen.week.sunday
    oldest, since = seen.unit.weeks.first_closed(), seen.unit.answers.kept_since()
    if oldest is None or oldest > start or since is None or since > end - KEPT_FOR:
        return
    old = seen.unit.weeks.cases_before(start)
    left = _unmet(seen, old, start=start)
    if not left:
        return
    yield WeekRow(
        kind="old_knowledge",
        numbers={
            "cases": len(left),
            "of": len(old),
            "causes": len(set(left.values())),
            "since": max(since, start).isoformat(),
        },
        cases=tuple(left)[:CASES],
    )


def _unmet(seen: Seen, old: Mapping[str, str], *, start: date) -> Mapping[str, str]:
    """Return the cases that were shown at no close since ``start``, nor met by a newer case."""
    shop = seen.words.shop
    met = {line.cause for line in seen.lines if line.closed >= start}
    shown = seen.unit.answers.matched(start, seen.week.sunday)
    now = {key: shop.now("cause", cause) for key, cause in old.items()}
    return {key: cause for key, cause in now.items() if cause not in met and key not in shown}
