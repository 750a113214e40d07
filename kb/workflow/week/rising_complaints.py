"""The same complaint more often than before on one make, model and engine, job for job."""

from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

from kb.diagnosis.rates import rate_ratio
from kb.diagnosis.season import seasons_of
from kb.diagnosis.trends import ALERT, NEWS_WEEKS, PAIRS, QUIET, WATCH
from kb.diagnosis.two_rates import TwoCounts, Weighed, more_now
from kb.store.week_rows import ClosedLine
from kb.workflow.week.by_week import (
    SHOWN,
    Tally,
    by_week,
    cut,
    newest_cases,
    two_windows,
    week_names,
)
from kb.workflow.week.flags import Flag, flagged, flags_of, strength
from kb.workflow.week.rows import WeekRow, key_of
from kb.workflow.week.seen import BEFORE, RECENT, Placed, Platform, Seen, plain

# Weeks whose symptoms are read: both windows of this review and of those that say what is news.
_READ: Final = BEFORE + RECENT + NEWS_WEEKS
# Our choice: one year of make stands out where two in three of the recent complaints are of it,
# but fewer than half of the model's jobs.
_YEAR_HAS: Final = 2 / 3
_YEAR_OF_JOBS: Final = 0.5

Pair = tuple[str, Platform]


@dataclass
class Complaints:
    """The complaints of the read weeks by concept and model, with the jobs of each model."""

    seen: Seen

    @cached_property
    def jobs(self) -> dict[str, Placed]:
        """The jobs with a model of the weeks read; a car that came back is counted once."""
        first = self.seen.length - _READ
        return {
            placed[3].id: placed
            for placed in self.seen.placed
            if placed[0] >= first and placed[3].model and placed[3].comeback_of is None
        }

    @cached_property
    def models(self) -> dict[Platform, list[int]]:
        """The jobs of each model by week."""
        weeks = defaultdict[Platform, list[int]](list)
        for at, _, _, row in self.jobs.values():
            weeks[plain(row.platform)].append(at)
        return {key: by_week(self.seen.length, row) for key, row in weeks.items()}

    @cached_property
    def tallies(self) -> dict[Pair, Tally]:
        """The pairs that are tested, chosen by their totals alone: fewer can never be flagged."""
        least = PAIRS.least
        return {key: row for key, row in self.all_tallies.items() if len(row.arrivals) >= least}

    @cached_property
    def all_tallies(self) -> dict[Pair, Tally]:
        """The arrivals of each complaint on each model."""
        first = self.seen.week.shifted(1 - _READ).monday
        found: dict[Pair, Tally] = {}
        symptoms = self.seen.unit.weeks.symptoms(first, self.seen.week.sunday)
        named = [(self.jobs[job], concept) for job, concept in symptoms if job in self.jobs]
        for placed, concept in sorted(named, key=lambda each: each[0][0]):
            key = (concept, plain(placed[3].platform))
            if key not in found:
                found[key] = Tally(length=self.seen.length)
            found[key].add(placed)
        return found

    @cached_property
    def by_system(self) -> dict[str, list[int]]:
        """The jobs of each system by week, of all known weeks: its season is learned from them."""
        weeks = defaultdict[str, list[int]](list)
        for at, _, _, row in self.seen.placed:
            weeks[row.system or ""].append(at)
        return {system: by_week(self.seen.length, row) for system, row in weeks.items() if system}

    @cached_property
    def all_jobs(self) -> list[int]:
        """All jobs by week."""
        return by_week(self.seen.length, (at for at, _, _, _ in self.seen.placed))

    def seasons(self, ago: int = 0) -> dict[str, float | None]:
        """Return what the time of the year multiplies each system by; None: not known."""
        totals = {system: cut(weekly, ago) for system, weekly in self.by_system.items()}
        return seasons_of(totals, cut(self.all_jobs, ago), recent=RECENT, before=BEFORE)

    def system(self, concept: str) -> str:
        """Return the system that a complaint belongs to."""
        term = self.seen.words.symptoms.get(concept)
        return term.system if term else ""

    def counts(self, ago: int = 0) -> list[TwoCounts]:
        """Return what is tested of every pair, as of so many weeks ago."""
        seasons = self.seasons(ago)
        jobs = {key: two_windows(weekly, ago) for key, weekly in self.models.items()}
        rows = []
        for (concept, platform), tally in self.tallies.items():
            recent, before = tally.counts(ago)
            now, then = jobs[platform]
            rows.append(
                TwoCounts(
                    recent=recent,
                    before=before,
                    recent_exposure=now * (seasons.get(self.system(concept)) or 1.0),
                    before_exposure=then,
                )
            )
        return rows

    def review(self, ago: int = 0) -> dict[Pair, tuple[str, Weighed, TwoCounts]]:
        """Return the flag of every pair with what it stands on, as of so many weeks ago."""
        counts = self.counts(ago)
        tested = more_now(counts)
        rows = zip(self.tallies.items(), tested, counts, strict=True)
        return {
            key: (_flag(row, tally.cars(ago) if row.recent >= PAIRS.least else 0, each), each, row)
            for (key, tally), each, row in rows
        }


def _flag(row: TwoCounts, cars: int, tested: Weighed) -> str:
    """Return the flag of one pair: the rule of pairs in ``kb.diagnosis.trends``, job for job."""
    if min(row.recent, cars) < PAIRS.least or tested.p >= PAIRS.watch:
        return QUIET
    return ALERT if tested.found else WATCH


def rising_complaints(seen: Seen) -> Iterator[WeekRow]:
    """Yield the complaints that rise on one make, model and engine."""
    if not seen.lines:
        return
    complaints = Complaints(seen)
    found = complaints.review()
    names = {key_of(key[0], *key[1]): key for key in found}
    flags = flags_of(_levels(found), lambda ago: _levels(complaints.review(ago)), weeks=seen.length)
    for name, flag in flags.items():
        concept, platform = key = names[name]
        newest = complaints.tallies[key].recent()
        yield WeekRow(
            kind="rising_complaint",
            subject=(concept, *platform),
            level=flag.level,
            strength=strength(found[key][1].p),
            numbers=_numbers(complaints, key, (found[key], flag)),
            cases=newest_cases(newest),
        )


def _levels(found: dict[Pair, tuple[str, Weighed, TwoCounts]]) -> dict[str, str]:
    return flagged((key_of(key[0], *key[1]), row[0]) for key, row in found.items())


def _numbers(
    complaints: Complaints, key: Pair, row: tuple[tuple[str, Weighed, TwoCounts], Flag]
) -> dict[str, Any]:
    """Return what the words and the chart of a complaint are made of."""
    (_, tested, counts), flag = row
    concept, platform = key
    tally = complaints.tallies[key]
    newest = tally.recent()
    make, model, engine = newest[0].platform
    jobs, jobs_before = two_windows(complaints.models[platform])
    ratio = rate_ratio(
        counts.recent,
        counts.before,
        first_exposure=counts.recent_exposure,
        second_exposure=counts.before_exposure,
    )
    return {
        "concept": concept,
        "make": make,
        "model": model,
        "engine": engine,
        "year": _year(newest, complaints, platform),
        "recent": counts.recent,
        "before": counts.before,
        "recent_weeks": RECENT,
        "before_weeks": max(0, min(BEFORE, complaints.seen.length - RECENT)),
        "recent_jobs": jobs,
        "before_jobs": jobs_before,
        "vehicles": tally.cars(),
        "expected": counts.before * counts.recent_exposure / counts.before_exposure,
        "ratio": ratio.ratio if counts.before else None,
        "low": ratio.low,
        "high": ratio.high if counts.before else None,
        "p": tested.p,
        "season_factor": complaints.seasons().get(complaints.system(concept)),
        "elsewhere": _elsewhere(complaints, key),
        "flag": flag.name,
        "new": flag.new,
        "since": str(complaints.seen.week.shifted(-flag.since)),
        "weeks": [
            {"week": name, "count": count}
            for name, count in zip(
                week_names(complaints.seen), tally.weekly()[-SHOWN:], strict=True
            )
        ],
    }


def _elsewhere(complaints: Complaints, key: Pair) -> dict[str, int]:
    """Return the same complaint on all other models."""
    concept, platform = key
    others = [row.counts() for (name, _), row in complaints.all_tallies.items() if name == concept]
    own = complaints.tallies[key].counts()
    jobs = [two_windows(row) for at, row in complaints.models.items() if at != platform]
    return {
        "recent": sum(row[0] for row in others) - own[0],
        "before": sum(row[1] for row in others) - own[1],
        "recent_jobs": sum(row[0] for row in jobs),
        "before_jobs": sum(row[1] for row in jobs),
    }


def _year(newest: Sequence[ClosedLine], complaints: Complaints, platform: Platform) -> int | None:
    """Return the year of make that stands out, None where none does."""
    year, count = Counter(row.year for row in newest).most_common(1)[0]
    if year is None or count < max(PAIRS.least, _YEAR_HAS * len(newest)):
        return None
    own = [row for _, _, _, row in complaints.jobs.values() if plain(row.platform) == platform]
    of_year = sum(row.year == year for row in own)
    return year if of_year < _YEAR_OF_JOBS * len(own) else None
