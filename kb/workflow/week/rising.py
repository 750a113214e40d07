"""Causes that come more often than they used to, and the model that carries the rise."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final

from kb.diagnosis.trends import CAUSES, PAIRS, Rule, Trend, find_trends, worth_splitting
from kb.diagnosis.week_bands import week_bands
from kb.workflow.week.by_week import (
    SHOWN,
    Tally,
    by_week,
    cut,
    newest_cases,
    two_windows,
    week_names,
    weeks_before,
)
from kb.workflow.week.flags import Flag, flagged, flags_of, strength
from kb.workflow.week.rows import WeekRow, key_of
from kb.workflow.week.seen import RECENT, Placed, Platform, Seen, plain

# The weeks before, as the rule has them.
_BEFORE: Final = CAUSES.windows.before
# A system that nobody wrote down; it has a season like any other.
_NO_SYSTEM: Final = ""
# Our choice: a model carries a rise where it has half of the recent arrivals or more.
_CARRIES: Final = 0.5
# Our choice: a season that moves what is expected by less than this is not worth a word.
_SEASON_TELLS: Final = 0.1


@dataclass
class Causes:
    """The arrivals of every cause, and of the models within a cause."""

    seen: Seen

    @cached_property
    def cases(self) -> list[Placed]:
        """The jobs closed with a cause; a car that came back with the same one is counted once."""
        known = self.seen.by_id
        found = []
        for placed in self.seen.placed:
            row = placed[3]
            first = known.get(row.comeback_of) if row.comeback_of else None
            if row.cause and (first is None or first.cause != row.cause):
                found.append(placed)
        return found

    @cached_property
    def jobs(self) -> list[int]:
        """How many cases each week has."""
        return by_week(self.seen.length, (at for at, _, _, _ in self.cases))

    @cached_property
    def tallies(self) -> dict[str, Tally]:
        """The arrivals of each cause."""
        found: dict[str, Tally] = {}
        for placed in self.cases:
            cause = placed[3].cause or ""
            if cause not in found:
                found[cause] = Tally(length=self.seen.length)
            found[cause].add(placed)
        return found

    @cached_property
    def systems(self) -> dict[str, str]:
        """The system of each cause, else that of its newest job."""
        known = self.seen.words.known_causes
        return {
            cause: known[cause].system if cause in known else row.jobs[-1][3].system or _NO_SYSTEM
            for cause, row in self.tallies.items()
        }

    @cached_property
    def totals(self) -> dict[str, list[int]]:
        """The arrivals of each whole system by week."""
        sums: dict[str, list[int]] = {}
        for cause, row in self.tallies.items():
            system = self.systems[cause]
            before = sums.get(system, [0] * self.seen.length)
            sums[system] = [a + b for a, b in zip(before, row.weekly(), strict=True)]
        return sums

    def review(self, ago: int = 0) -> tuple[Trend, ...]:
        """Return every cause against its past, as of so many weeks ago."""
        rows = [
            row.series(cause, self.systems[cause], ago=ago) for cause, row in self.tallies.items()
        ]
        return self.trends(rows, ago, CAUSES)

    def trends(self, rows: Sequence[Any], ago: int, rule: Rule) -> tuple[Trend, ...]:
        """Return series against their past, with the season of their whole systems."""
        sums = {system: cut(row, ago) for system, row in self.totals.items()}
        return find_trends(rows, cut(self.jobs, ago), sums, rule=rule)

    def split(self, causes: Iterable[str]) -> dict[str, tuple[str, Platform, Tally]]:
        """Return the arrivals of those causes, one tally a make, model and engine; none unnamed."""
        pairs: dict[str, tuple[str, Platform, Tally]] = {}
        for cause in sorted(causes):
            for placed in self.tallies[cause].jobs:
                row = placed[3]
                if not row.model:
                    continue
                platform = plain(row.platform)
                key = key_of(cause, *platform)
                if key not in pairs:
                    pairs[key] = (cause, platform, Tally(length=self.seen.length))
                pairs[key][2].add(placed)
        return pairs


@dataclass
class Pairs:
    """The models within the causes worth splitting, each with what its margins lead to expect."""

    causes: Causes
    split: Mapping[str, tuple[str, Platform, Tally]]

    @cached_property
    def models(self) -> dict[Platform, list[int]]:
        """The arrivals of each model, of any cause, by week."""
        weeks = defaultdict[Platform, list[int]](list)
        for at, _, _, row in self.causes.cases:
            if row.model:
                weeks[plain(row.platform)].append(at)
        return {key: by_week(self.causes.seen.length, row) for key, row in weeks.items()}

    def review(self, ago: int = 0) -> tuple[Trend, ...]:
        """Return every pair against its past, as of so many weeks ago."""
        whole = max(1, two_windows(self.causes.jobs, ago, before=_BEFORE)[1])
        model = {
            key: two_windows(row, ago, before=_BEFORE)[1] + 0.5 for key, row in self.models.items()
        }
        cause = {
            key: row.counts(ago, before=_BEFORE)[1] + 0.5
            for key, row in self.causes.tallies.items()
        }
        rows = [
            tally.series(
                key,
                self.causes.systems[name],
                ago=ago,
                usual=model[platform] * cause[name] / whole**2,
            )
            for key, (name, platform, tally) in self.split.items()
        ]
        return self.causes.trends(rows, ago, PAIRS)


def rising(seen: Seen) -> Iterator[WeekRow]:
    """Yield the causes that rise, then the models with a cause that do."""
    if not seen.lines:
        return
    causes = Causes(seen)
    found = causes.review()
    pairs = Pairs(causes, causes.split(worth_splitting(found)))
    paired = list(_pair_rows(pairs))
    yield from _cause_rows(causes, found, paired)
    yield from paired


def _levels(trends: Iterable[Trend]) -> dict[str, str]:
    return flagged((row.key, row.level) for row in trends)


def _cause_rows(
    causes: Causes, found: Sequence[Trend], paired: Sequence[WeekRow]
) -> Iterator[WeekRow]:
    flags = flags_of(
        _levels(found), lambda ago: _levels(causes.review(ago)), weeks=causes.seen.length
    )
    for trend in found:
        if trend.key not in flags:
            continue
        tally, flag = causes.tallies[trend.key], flags[trend.key]
        numbers = _numbers(causes, trend.key, (trend, tally, flag))
        yield WeekRow(
            kind="rising_cause",
            subject=(trend.key,),
            level=flag.level,
            strength=strength(trend.p),
            numbers=numbers | {"carried_by": _carrier(trend, paired)},
            cases=newest_cases(tally.recent()),
        )


def _carrier(trend: Trend, paired: Sequence[WeekRow]) -> dict[str, Any] | None:
    """Return the flagged model that has half of a cause's recent arrivals, None without one."""
    own = [row for row in paired if row.numbers["cause"] == trend.key]
    top = max(own, key=lambda row: row.numbers["recent"], default=None)
    if top is None or top.numbers["recent"] < _CARRIES * trend.recent:
        return None
    return {name: top.numbers[name] for name in ("make", "model", "engine", "recent", "vehicles")}


def _pair_rows(pairs: Pairs) -> Iterator[WeekRow]:
    found = pairs.review()
    length = pairs.causes.seen.length
    flags = flags_of(_levels(found), lambda ago: _levels(pairs.review(ago)), weeks=length)
    for trend in found:
        if trend.key not in flags:
            continue
        cause, platform, tally = pairs.split[trend.key]
        newest = tally.recent()
        make, model, engine = newest[0].platform
        numbers = _numbers(pairs.causes, cause, (trend, tally, flags[trend.key]))
        yield WeekRow(
            kind="rising_pair",
            subject=(cause, *platform),
            level=flags[trend.key].level,
            strength=strength(trend.p),
            numbers=numbers | {"make": make, "model": model, "engine": engine},
            cases=newest_cases(newest),
        )


def _numbers(causes: Causes, cause: str, row: tuple[Trend, Tally, Flag]) -> dict[str, Any]:
    """Return what the words and the chart of a trend are made of."""
    trend, tally, flag = row
    seen, system = causes.seen, causes.systems[cause]
    recent_jobs, before_jobs = two_windows(causes.jobs, before=_BEFORE)
    season = trend.season
    return {
        "cause": cause,
        "system": system,
        "recent": trend.recent,
        "before": trend.before,
        "recent_weeks": RECENT,
        "before_weeks": weeks_before(seen.length, before=_BEFORE),
        "recent_jobs": recent_jobs,
        "before_jobs": before_jobs,
        "vehicles": tally.cars(),
        "expected": trend.expected,
        "ratio": trend.ratio,
        "low": trend.ratio_low,
        "high": trend.ratio_high,
        "p": trend.p,
        "season": None if season is None else abs(season - 1) >= _SEASON_TELLS,
        "season_factor": season,
        "flag": flag.name,
        "new": flag.new,
        "since": str(seen.week.shifted(-flag.since)),
        "weeks": _chart(causes, system, (trend, tally)),
    }


def _chart(causes: Causes, system: str, row: tuple[Trend, Tally]) -> list[dict[str, Any]]:
    trend, tally = row
    names = week_names(causes.seen)
    bands = week_bands(
        trend.expected or 0.0, causes.jobs, causes.totals[system], recent=RECENT, shown=SHOWN
    )
    return [
        {"week": name, "count": count, "expected": band.expected, "upper": band.upper}
        for name, count, band in zip(names, tally.weekly()[-SHOWN:], bands, strict=True)
    ]
