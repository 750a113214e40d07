"""Work that is open: jobs that stand too long, and words that nobody understood."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from datetime import UTC, date, datetime, time, timedelta
from typing import Any, Final

from kb.store.week_records import OpenLine
from kb.store.week_rows import car_name
from kb.workflow.week.rows import Level, WeekRow
from kb.workflow.week.seen import Seen
from kb.workflow.word_merges import pieces_of

# Days from which an open job is asked about, and from which something must be decided; jobs open
# longer than each (five is common practice, no source; fourteen our choice).
LOOK_OVER: Final = 5
ACT_OVER: Final = 14
# By which words a job says what it waits for, the first that fits; beginnings of words, a whole
# word where a blank ends it (our choice).
REASONS: Final[Mapping[str, tuple[str, ...]]] = {
    "parts": ("part", "deliver", "supplier", "backorder", "back order", "stock"),
    "customer": ("customer", "owner", "word ", "consent", "approv", "answer", "go-ahead", "call "),
    "not_shown": ("reproduc", "happen", "show", "appear", "not there"),
}
# Jobs that share a word before it is worth a row, words named at most, and different runs of words
# read again for what is still unclear: a fraction of a millisecond each (our choice).
JOBS_EACH: Final = 2
MOST_WORDS: Final = 10
MOST_READ: Final = 120


def open_work(seen: Seen) -> Iterator[WeekRow]:
    """Yield the rows of this topic."""
    yield from _old_jobs(seen)
    yield from _unread(seen)


# --- jobs that stand ------------------------------------------------------------------------------


def _old_jobs(seen: Seen) -> Iterator[WeekRow]:
    """Yield one row: the jobs that were open for more than five days at the end of the week.

    A job that was closed, or waits for something else, since then counts as it stood, as far as
    its history tells; that it was closed before and taken up again is not known, nor are findings
    that came later told from those that were there.
    """
    rows = seen.unit.week_records.open_lines(seen.week.sunday)
    old = [row for row in rows if _age(row, seen) > LOOK_OVER]
    if not old:
        return
    waits = _waits(seen, old)
    listed = [
        {
            "job": row.id,
            "car": car_name(row.year, row.make, row.model, row.engine),
            "days": _age(row, seen),
            "why": _reason(waits[row.id], checked=row.checked),
            "waits_for": waits[row.id],
        }
        for row in old
    ]
    over = sum(_age(row, seen) > ACT_OVER for row in old)
    yield WeekRow(
        kind="old_job",
        level=Level.ACT if over else Level.LOOK,
        strength=_age(old[0], seen),
        numbers={
            "open": len(rows),
            "old": len(old),
            "over": over,
            "why": dict(Counter(row["why"] for row in listed).most_common()),
            "jobs": listed,
        },
        cases=tuple(row.id for row in old),
    )


def _age(row: OpenLine, seen: Seen) -> int:
    return (seen.week.sunday - row.opened).days


def _waits(seen: Seen, rows: list[OpenLine]) -> dict[str, str | None]:
    """Return what each job waited for at the end of the week."""
    end = _after(seen.week.sunday)
    told: dict[str, list[tuple[datetime, str]]] = defaultdict(list)
    for job, at, what in seen.unit.week_records.waits([row.id for row in rows]):
        told[job].append((at, what.strip()))
    found = {}
    for row in rows:
        then = [what for at, what in told[row.id] if at < end]
        as_now = row.closed is None and len(then) == len(told[row.id])
        found[row.id] = row.waits_for if as_now else (then[-1] or None) if then else None
    return found


def _reason(waits_for: str | None, *, checked: bool) -> str:
    if waits_for is None:
        return "nothing" if checked else "no_check"
    said = f" {' '.join(waits_for.lower().split())} "
    for reason, starts in REASONS.items():
        if any(f" {start}" in said for start in starts):
            return reason
    return "else"


def _after(day: date) -> datetime:
    """Return the first moment after a day; in UTC, since the store keeps no zone of the shop."""
    return datetime.combine(day + timedelta(days=1), time.min, UTC)


# --- words that nobody understood -----------------------------------------------------------------


def _unread(seen: Seen) -> Iterator[WeekRow]:
    """Yield one row: the words of the recent weeks that stand unread in at least two jobs.

    A word that got its meaning since then is left out: there is nothing left to do about it.
    """
    end = _after(seen.week.sunday)
    first = _after(seen.first_recent.monday - timedelta(days=1))
    runs: dict[str, dict[str, datetime]] = defaultdict(dict)
    for word, job, at in seen.unit.unread.between(first, end):
        runs[word][job] = at
    often = sorted(runs, key=lambda run: (-len(runs[run]), run))[:MOST_READ]
    jobs: dict[str, dict[str, datetime]] = defaultdict(dict)
    for run in often:
        for piece in pieces_of(run, seen.words):
            jobs[piece] |= runs[run]
    known = [(word, found) for word, found in jobs.items() if len(found) >= JOBS_EACH]
    known.sort(key=lambda pair: (-len(pair[1]), pair[0]))
    if known:
        yield _unread_row(known)


def _unread_row(known: list[tuple[str, dict[str, datetime]]]) -> WeekRow:
    top = known[:MOST_WORDS]
    listed: list[dict[str, Any]] = [
        {"word": word, "jobs": len(found), "last": max(found.values()).date().isoformat()}
        for word, found in top
    ]
    newest = {job: at for _, found in top for job, at in found.items()}
    return WeekRow(
        kind="unread_word",
        level=Level.LOOK,
        strength=len(top[0][1]),
        numbers={"words": listed, "more": len(known) - len(top)},
        cases=tuple(sorted(newest, key=lambda job: (newest[job], job), reverse=True)),
    )
