"""What was written down: how complete cases are, how causes were shown, where nothing is kept."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from kb.case.iso_week import IsoWeek
from kb.diagnosis.group_shares import spread_p
from kb.diagnosis.rates import difference_test, shrunken_shares
from kb.store.week_records import RecordLine
from kb.store.week_rows import ClosedLine
from kb.workflow.week.rows import Level, WeekRow
from kb.workflow.week.seen import BEFORE, RECENT, Seen
from kb.workflow.week.shares import TELL_FROM, share_of

# Cases to fill that a week names, and inferred cases of one cause that are worth going back for
# (our choice).
WORST: Final = 2
SAME_CAUSE: Final = 3
# Between people: cases of each from which a share is looked at (trade practice: no number under
# 20), the fewest people who stay unnamed among each other, and the usual 5 % (our choice).
CASES_EACH: Final = 20
PEOPLE: Final = 3
LUCK: Final = 0.05


@dataclass(frozen=True, slots=True, kw_only=True)
class _Kept:
    """A closed job with what is written down of it."""

    line: ClosedLine
    record: RecordLine

    @property
    def complete(self) -> bool:
        return self.record.before and self.record.after

    @property
    def inferred(self) -> bool:
        """True where the cause was only inferred."""
        return self.record.proven and not self.record.shown

    @property
    def missing(self) -> tuple[str, ...]:
        """What the case lacks, the weightiest first (our choice of the order)."""
        record = self.record
        lacks = {
            "proof": self.inferred,
            "after": not record.after,
            "before": not record.before,
            "holds": not record.holds,
            "fix": not record.fix,
        }
        return tuple(name for name, lacking in lacks.items() if lacking)


def records(seen: Seen) -> Iterator[WeekRow]:
    """Yield the rows of this topic; proofs and readings are read as they are written down now."""
    first = seen.week.shifted(1 - 2 * RECENT).monday
    found = seen.unit.week_records.held_in(first, seen.week.sunday)
    kept = [_Kept(line=seen.by_id[row.id], record=row) for row in found]
    recent = [row for row in kept if row.line.closed >= seen.first_recent.monday]
    cases = [row for row in kept if row.record.is_case]
    yield from _added(seen, cases=[row for row in recent if row.record.is_case], jobs=recent)
    yield from _inferred(seen, cases)
    yield from _by_system(recent)
    yield from _spread(seen)


# --- cases of the week ----------------------------------------------------------------------------


def _added(seen: Seen, *, cases: Sequence[_Kept], jobs: Sequence[_Kept]) -> Iterator[WeekRow]:
    week = [row for row in cases if row.line.closed >= seen.week.monday]
    if not week:
        return
    worst = sorted(week, key=lambda row: (-len(row.missing), row.missing, row.line.id))
    worst = [row for row in worst if row.missing][:WORST]
    yield WeekRow(
        kind="records",
        numbers=_completeness(week)
        | {
            "worst": [{"job": row.line.id, "missing": list(row.missing)} for row in worst],
            "weeks": list(_weeks(seen, cases, jobs)),
        },
        cases=tuple(row.line.id for row in worst),
    )


def _completeness(cases: Sequence[_Kept]) -> dict[str, Any]:
    return {
        "cases": len(cases),
        "complete": share_of(sum(row.complete for row in cases), len(cases)),
        "verified": share_of(sum(not row.inferred for row in cases), len(cases)),
    }


def _weeks(seen: Seen, cases: Iterable[_Kept], jobs: Iterable[_Kept]) -> Iterator[dict[str, Any]]:
    """Yield the recent weeks, oldest first; those before the shop's first close are left out."""
    cases_of, jobs_of = _by_week(cases), _by_week(jobs)
    for back in range(1 - RECENT, 1):
        week = seen.week.shifted(back)
        if seen.first_week and seen.first_week <= week:
            jobs_then = len(jobs_of.get(week, ()))
            yield {"week": str(week), "jobs": jobs_then} | _completeness(cases_of.get(week, ()))


def _by_week(rows: Iterable[_Kept]) -> Mapping[IsoWeek, Sequence[_Kept]]:
    found: dict[IsoWeek, list[_Kept]] = defaultdict(list)
    for row in rows:
        found[IsoWeek.of(row.line.closed)].append(row)
    return found


# --- causes that were only inferred ---------------------------------------------------------------


def _inferred(seen: Seen, cases: Sequence[_Kept]) -> Iterator[WeekRow]:
    """Yield one row: the share in the recent weeks against as many weeks before, and by cause."""
    start = seen.first_recent.monday
    recent = [row for row in cases if row.line.closed >= start]
    before = [row for row in cases if row.line.closed < start]
    back_to = [row for row in recent if row.inferred]
    if not back_to:
        return
    back_to.sort(key=lambda row: (row.line.closed, row.line.id), reverse=True)
    now = (len(back_to), len(recent))
    then = (sum(row.inferred for row in before), len(before))
    p = difference_test(now, then)
    # Cross-multiplied, since there may be nothing before.
    more = p is not None and p < LUCK and now[0] * then[1] > then[0] * now[1]
    causes = _by_cause(recent)
    yield WeekRow(
        kind="inferred",
        level=Level.LOOK if more or causes else Level.KNOW,
        strength=len(back_to),
        numbers={
            "recent": share_of(*now),
            "before": share_of(*then),
            "p": p,
            "more": more,
            "causes": causes,
        },
        cases=tuple(row.line.id for row in back_to),
    )


def _by_cause(cases: Iterable[_Kept]) -> list[dict[str, Any]]:
    """Return the causes of which at least three cases were only inferred, those of most first."""
    of: dict[str, list[bool]] = defaultdict(list)
    for row in cases:
        of[row.line.cause or ""].append(row.inferred)
    often = [(cause, rows) for cause, rows in of.items() if sum(rows) >= SAME_CAUSE]
    often.sort(key=lambda pair: (-sum(pair[1]), pair[0]))
    return [{"cause": cause, "share": share_of(sum(rows), len(rows))} for cause, rows in often]


# --- where nothing is kept ------------------------------------------------------------------------


def _by_system(jobs: Iterable[_Kept]) -> Iterator[WeekRow]:
    """Yield one row: how many closed jobs of each system became cases, the fewest first."""
    of: dict[str | None, list[bool]] = defaultdict(list)
    for row in jobs:
        of[row.line.system].append(row.record.is_case)
    if not of:
        return
    pairs = [(system, sum(rows), len(rows)) for system, rows in of.items()]
    # Those too few to tell stand last.
    pairs.sort(key=lambda row: (row[2] < TELL_FROM, row[1] / row[2], -row[2], row[0] or ""))
    empty = [of_system for of_system in pairs if of_system[1] == 0 and of_system[2] >= TELL_FROM]
    yield WeekRow(
        kind="kept",
        level=Level.LOOK if empty else Level.KNOW,
        strength=sum(row[2] for row in empty),
        numbers={
            "all": share_of(sum(row[1] for row in pairs), sum(row[2] for row in pairs)),
            "systems": [
                {"system": system, "share": share_of(count, jobs)} for system, count, jobs in pairs
            ],
        },
    )


# --- between people, without a name ---------------------------------------------------------------


def _spread(seen: Seen) -> Iterator[WeekRow]:
    """Yield whether readings after the repair differ between people by more than luck.

    No name, no case and no order of people is told; with fewer than three people, or of people
    with fewer than 20 cases in 52 weeks, nothing.
    """
    first = seen.week.shifted(1 - BEFORE).monday
    found = seen.unit.week_records.read_again_by_person(first, seen.week.sunday)
    people = [row for row in found if row[1] >= CASES_EACH]
    if len(people) < PEOPLE:
        return
    counts, ofs = [row[0] for row in people], [row[1] for row in people]
    shares = sorted(shrunken_shares(counts, ofs), key=lambda row: row.share)
    p = spread_p(counts, ofs)
    more = p is not None and p < LUCK
    low, high = shares[0], shares[-1]
    yield WeekRow(
        kind="spread",
        level=Level.LOOK if more else Level.KNOW,
        numbers={
            "people": len(people),
            "lowest": {"share": low.share, "low": low.low, "high": low.high},
            "highest": {"share": high.share, "low": high.low, "high": high.high},
            "p": p,
            "more": more,
        },
    )
