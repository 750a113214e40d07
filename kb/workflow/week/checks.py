"""Checks: which paid, which never changed anything, which were left out, which take longer."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from kb.case.model import Job, Phase
from kb.case.term_rows import CheckTerm
from kb.diagnosis.access import access_of, opening_minutes
from kb.diagnosis.measure import ratio_interval
from kb.store.answers import Gain
from kb.workflow.week.pace import quartiles
from kb.workflow.week.rows import Level, WeekRow
from kb.workflow.week.seen import BEFORE, Seen
from kb.workflow.week.shares import share_of

# Runs of a check from which its worth is told (trade practice: n at least 10), and how many of the
# best checks are named (our choice).
ENOUGH: Final = 10
BEST: Final = 3
# Outcomes of the catalogue that find everything in order (common practice, no source); words that
# mean it of some checks and a fault of others are left out.
IN_ORDER: Final = frozenset({
    "aligned", "all_agree", "all_allow", "all_answer", "all_draw", "all_modes", "all_normal",
    "all_present", "all_speeds", "assists_and_holds", "at_label", "at_rating", "both_good",
    "both_hot", "changes_right", "clean", "closed", "drips", "even", "even_normal", "fast",
    "fault_stayed", "flows", "follows", "follows_both_ends", "full_travel_seals", "good",
    "holds", "in_spec", "intact", "matches", "no_air", "no_change", "no_leak", "no_slip",
    "none_found", "none_high", "none_stored", "normal", "not_back", "not_found", "not_heard",
    "nothing_seen", "plausible", "pure", "responds", "seals", "signals_right", "sixty_ohm",
    "sleeps", "slight_vacuum", "smooth", "steady", "stores", "strong", "tight", "tight_quiet",
    "within",
})  # fmt: skip
# A run that told less than a tenth of a question with two even answers told nothing; a check is
# named where even with luck against it seven in ten runs did (both our choice).
NOTHING_BITS: Final = 0.1
IDLE_FROM: Final = 0.7
# Jobs in which a check stood first, and those of them without it, from which it is named; more
# often left out than done, even with luck against it, is worth a look (our choice).
FIRST_FROM: Final = 5
SKIPPED_FROM: Final = 3
MOSTLY: Final = 0.5
NOTES: Final = 3
# Minutes of a check on one platform: named from 5 on, at one and a half times what is expected
# (trade practice).
SLOW: Final = 1.5
CASES: Final = 8
NOT_DONE: Final = "not_done"
# Checks done by looking; a fault that was seen was looked at.
_LOOKED: Final = frozenset({"see", "observe"})


@dataclass(frozen=True, slots=True)
class _Run:
    job: str
    gain: Gain


def checks(seen: Seen) -> Iterator[WeekRow]:
    """Yield the rows of this topic."""
    runs: dict[str, list[_Run]] = defaultdict(list)
    for job, shown in seen.shown.items():
        for gain in shown.gains:
            if gain.check in seen.words.checks:
                runs[gain.check].append(_Run(job, gain))
    yield from _paid(seen, runs)
    yield from _idle(runs)
    yield from _skipped(seen)
    yield from _slow(seen)


def _newest(jobs: Iterable[str]) -> tuple[str, ...]:
    """Return ids without repeats, the last one first, as many as a row points to."""
    return tuple(dict.fromkeys(reversed(list(jobs))))[:CASES]


# --- what runs told ------------------------------------------------------------------------------


def _paid(seen: Seen, runs: Mapping[str, Sequence[_Run]]) -> Iterator[WeekRow]:
    """Yield the checks that told most for their minutes.

    Bits over minutes, both summed: a mean of ratios would be ruled by runs of a minute. Where no
    minutes were written down, those of the catalogue stand for them.
    """
    found = []
    for check, rows in runs.items():
        if len(rows) < ENOUGH:
            continue
        usual = seen.words.checks[check].typical_minutes
        minutes = [row.gain.minutes or usual for row in rows]
        ratio, low, high = ratio_interval([row.gain.bits for row in rows], minutes)
        if low > 0:
            written = sum(bool(row.gain.minutes) for row in rows)
            numbers = {
                "runs": len(rows),
                "written": written,
                "bits_per_minute": ratio,
                "low": low,
                "high": high,
                "changed": sum(row.gain.lead_changed for row in rows),
            }
            found.append((ratio, check, numbers))
    for ratio, check, numbers in sorted(found, key=lambda row: (-row[0], row[1]))[:BEST]:
        yield WeekRow(
            kind="check_paid",
            subject=(check,),
            strength=ratio,
            numbers=numbers,
            cases=_newest(row.job for row in runs[check] if row.gain.lead_changed),
        )


def _told_nothing(gain: Gain) -> bool:
    return gain.outcome in IN_ORDER and not gain.lead_changed and gain.bits < NOTHING_BITS


def _idle(runs: Mapping[str, Sequence[_Run]]) -> Iterator[WeekRow]:
    for check, rows in runs.items():
        if len(rows) < ENOUGH:
            continue
        idle = [row for row in rows if _told_nothing(row.gain)]
        share = share_of(len(idle), len(rows))
        if share["low"] < IDLE_FROM:
            continue
        minutes = [row.gain.minutes for row in idle if row.gain.minutes is not None]
        yield WeekRow(
            kind="check_idle",
            subject=(check,),
            level=Level.LOOK,
            strength=share["low"],
            numbers={
                "share": share,
                "minutes": sum(minutes) if minutes else None,
                "minutes_known": len(minutes),
            },
            cases=_newest(row.job for row in idle),
        )


# --- what was left out ---------------------------------------------------------------------------


def _typed(job: Job) -> set[str]:
    return {
        reading.quantity
        for group in job.reading_sets
        if group.phase is Phase.BEFORE
        for reading in group.readings
    }


def _is_done(job: Job, check: CheckTerm) -> bool:
    """Return whether a check was done: by name, whatever it was done on, by readings, by sight."""
    if any(row.check == check.key and row.outcome != NOT_DONE for row in job.findings):
        return True
    seen = job.closing is not None and any(row.method == "seen" for row in job.closing.proofs)
    return check.is_read(_typed(job)) or (seen and check.kind in _LOOKED)


def _why(jobs: Sequence[Job], check: str) -> dict[str, Any]:
    """Return in how many jobs it is written that the check was not done, and what beside it."""
    rows = {
        job.id: row
        for job in jobs
        for row in job.findings
        if row.check == check and row.outcome == NOT_DONE
    }
    notes = dict.fromkeys(row.note.strip() for row in rows.values())
    return {"said": len(rows), "notes": [note for note in notes if note][:NOTES]}


def _skipped(seen: Seen) -> Iterator[WeekRow]:
    first: dict[str, list[Job]] = defaultdict(list)
    for job in sorted(seen.jobs, key=lambda job: (job.closing and job.closing.closed, job.id)):
        shown = seen.shown.get(job.id)
        check = shown.first_check if shown else None
        if check and check in seen.words.checks:
            first[check].append(job)
    for check, jobs in first.items():
        missed = [job for job in jobs if not _is_done(job, seen.words.checks[check])]
        if len(jobs) < FIRST_FROM or len(missed) < SKIPPED_FROM:
            continue
        share = share_of(len(missed), len(jobs))
        yield WeekRow(
            kind="check_skipped",
            subject=(check,),
            level=Level.LOOK if share["low"] > MOSTLY else Level.KNOW,
            strength=float(len(missed)),
            numbers={"share": share, **_why(missed, check)},
            cases=_newest(job.id for job in missed),
        )


# --- what takes longer ---------------------------------------------------------------------------


def _expected(check: CheckTerm) -> float:
    """Return the minutes of a check as the catalogue has them, with all that must be opened."""
    access = access_of(check)
    return check.typical_minutes + opening_minutes([access]).get(access, 0.0)


def _slow(seen: Seen) -> Iterator[WeekRow]:
    took: dict[tuple[str, ...], list[tuple[str, float]]] = defaultdict(list)
    first, shop = seen.week.shifted(1 - BEFORE).monday, seen.words.shop
    for job, written, minutes in seen.unit.weeks.minutes(first, seen.week.sunday):
        check = shop.now("check", written)
        if check in seen.words.checks:
            took[check, *seen.by_id[job].platform].append((job, minutes))
    for subject, rows in took.items():
        known = quartiles([minutes for _, minutes in rows])
        expected = _expected(seen.words.checks[subject[0]])
        if known["middle"] is None or known["middle"] < SLOW * expected:
            continue
        yield WeekRow(
            kind="slow_check",
            subject=subject,
            level=Level.LOOK,
            strength=known["middle"] / expected,
            numbers={"runs": known.pop("jobs"), **known, "expected": expected},
            cases=_newest(job for job, _ in sorted(rows, key=lambda row: row[1])),
        )
