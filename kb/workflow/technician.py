"""Minutes to a proven cause: a simulated technician works structured records by several policies.

What a check costs is invented, the same for every policy: hands-on minutes, a shared access for one
check in three, and the minutes of the look that settles a cause. A look at the true cause ends the
job; every look at another is paid for.
"""

import random
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from statistics import fmean, median
from typing import Final

from kb.diagnosis.access import Work, work_of
from kb.diagnosis.blocks import Block, better_to_look, blocks_by_worth
from kb.diagnosis.findings import FieldTables
from kb.diagnosis.looks import chances_left, look_order
from kb.diagnosis.measure import SURE, mean_error, ratio_error
from kb.errors import ImportTableError
from kb.retrieval.features import CaseFeatures, observed_token
from kb.retrieval.index import CaseIndex
from kb.workflow.open_records import KNOWN, Start, as_findings, read_starts
from kb.workflow.records import read_stored
from kb.workflow.structured import Fitted, fit_records

MOST_JOBS: Final = 100
# All of this is our choice, made before anything was measured: checks short, looks long, and a
# third of the checks behind the catalogue's minutes for lift, rack and trim.
CHECK_MINUTES: Final = (2.0, 15.0)
LOOK_MINUTES: Final = (10.0, 120.0)
OPENINGS: Final = {"lift": 6.0, "rack": 15.0, "trim": 45.0}
BEHIND: Final = 1 / 3
_SEED: Final = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Prices:
    """Invented minutes: of each check, hands-on, with its access ("" for none), and of each look."""

    checks: Mapping[str, float]
    access: Mapping[str, str]
    looks: tuple[float, ...]


def invented_prices(checks: Iterable[str], causes: Sequence[str], *, seed: int = _SEED) -> Prices:
    """Return minutes drawn with a fixed seed; a check's depend on nothing but its name."""
    drawn = random.Random(seed)  # noqa: S311 (a draw, no secret)
    looks = dict.fromkeys(sorted(causes), 0.0)
    looks = {cause: drawn.uniform(*LOOK_MINUTES) for cause in looks}
    minutes, access = {}, {}
    for name in checks:
        own = random.Random(f"{seed} {name}")  # noqa: S311
        minutes[name] = own.uniform(*CHECK_MINUTES)
        access[name] = own.choice(sorted(OPENINGS)) if own.random() < BEHIND else ""
    return Prices(checks=minutes, access=access, looks=tuple(looks[cause] for cause in causes))


@dataclass(slots=True, kw_only=True)
class Bench:
    """A job on the bench: what is known, what is open, what was looked at, what it took so far."""

    asked: CaseFeatures
    truth: dict[str, str]
    draw: random.Random
    opened: set[str] = field(default_factory=set)
    looked: set[str] = field(default_factory=set)
    minutes: float = 0.0


class Moment:
    """What the technician can weigh before the next step: chances of causes, checks left, minutes."""

    def __init__(self, tech: "Technician", bench: Bench) -> None:
        self.tech = tech
        self.bench = bench
        self._held = tech.fitted.index.ask(bench.asked)
        chances = tech.fitted.model.chances(self._held)
        self.chances = chances_left(chances, tech.causes, gone=bench.looked)

    @cached_property
    def names(self) -> tuple[str, ...]:
        """The checks that can be done and that the memory knows."""
        return tuple(name for name in sorted(self.bench.truth) if name in self.tech.tables.at)

    @cached_property
    def work(self) -> Work:
        """Minutes of the checks."""
        prices, opened = self.tech.prices, self.bench.opened
        opening = {name: 0.0 if name in opened else cost for name, cost in OPENINGS.items()}
        minutes = (prices.checks[name] for name in self.names)
        return work_of(minutes, [prices.access[name] for name in self.names], opening)

    @cached_property
    def best(self) -> Block:
        """The block of checks that tells most a minute."""
        tables = self.tech.tables.expected(self.names, self._held)
        return blocks_by_worth(self.chances, tables, self.work)[0]

    def look_is_due(self) -> bool:
        """Whether going to look costs no more than the best block and the looks after it."""
        looks = self.tech.looks
        return better_to_look(self.chances, self.best, checks=self.work, looks=looks)


# A policy names the next check, or None to go and look.
Policy = Callable[[Moment], str | None]


def _anything(now: Moment) -> str:
    return now.bench.draw.choice(now.names)


def _fixed(now: Moment) -> str:
    return min(now.names, key=now.tech.order.index)


def _cheapest(now: Moment) -> str:
    return now.names[int(now.work.alone.argmin())]


def _only_looks(_: Moment) -> None:
    return None


def _by_gain(now: Moment) -> str:
    return now.names[now.best.checks[0]]


def _with_stop(now: Moment) -> str | None:
    return None if now.look_is_due() else _by_gain(now)


OURS: Final = "gain_a_minute_with_stop"
POLICIES: Final[Mapping[str, Policy]] = {
    "random": _anything,
    "fixed_order": _fixed,
    "cheapest_first": _cheapest,
    "looks_only": _only_looks,
    "gain_a_minute": _by_gain,
    OURS: _with_stop,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Took:
    """What a job took until its cause was seen; ``wrong_looks`` were in vain."""

    minutes: float
    wrong_looks: int


class Technician:
    """Works jobs against a memory of structured records.

    Parameters
    ----------
    fitted : Fitted
        The memory.
    checks : iterable of str
        What can be done on any job.
    """

    def __init__(self, fitted: Fitted, checks: Iterable[str]) -> None:
        self.fitted = fitted
        self.causes = fitted.model.causes_
        self.tables = FieldTables(fitted.model, sorted(set(checks)))
        self.prices = invented_prices(self.tables.at, self.causes)
        self.looks = work_of(self.prices.looks, opening=OPENINGS)

    @cached_property
    def order(self) -> tuple[str, ...]:
        """All checks in one order for every job: by bits a minute before anything is known."""
        names, prices = tuple(self.tables.at), self.prices
        alone = (prices.checks[n] + OPENINGS.get(prices.access[n], 0.0) for n in names)
        tables = self.tables.overall(names)
        blocks = blocks_by_worth(self.fitted.model.prior_, tables, work_of(alone))
        return tuple(names[block.checks[0]] for block in blocks)

    def minutes(self, policy: Policy, start: Start) -> Took:
        """Return what it takes until the cause is seen."""
        draw = random.Random(f"{_SEED} {start.asked.case}")  # noqa: S311
        bench = Bench(asked=start.asked, truth=dict(start.truth), draw=draw)
        while True:
            now = Moment(self, bench)
            open_still = now.names and float(now.chances.max()) < SURE
            name = policy(now) if open_still else None
            if name is not None:
                self._check(bench, name)
            elif self._look(bench, now, start.cause):
                return Took(minutes=bench.minutes, wrong_looks=len(bench.looked) - 1)

    def _check(self, bench: Bench, name: str) -> None:
        access = self.prices.access[name]
        if access and access not in bench.opened:
            bench.minutes += OPENINGS[access]
            bench.opened.add(access)
        bench.minutes += self.prices.checks[name]
        token = observed_token(name, bench.truth.pop(name))
        bench.asked = replace(bench.asked, tokens=(*bench.asked.tokens, token))

    def _look(self, bench: Bench, now: Moment, cause: str) -> bool:
        at = int(look_order(now.chances, self.looks)[0])
        bench.minutes += self.prices.looks[at]
        bench.looked.add(self.causes[at])
        return self.causes[at] == cause


def measure_minutes(
    folder: Path, *, stored: int | None = None, jobs: int = MOST_JOBS, fill: bool = False
) -> dict[str, object]:
    """Return the minutes to a proven cause by policy, and ours against each of the others.

    Parameters
    ----------
    folder : Path
        With ``stored_cases.jsonl`` or ``stored_cases.csv.gz``, and ``queries.jsonl``. A query's
        ``unseen_truth``, where it has one, says what checks that were not done would show.
    stored : int or None
        How many of the stored records the shop has closed so far; None means all.
    jobs : int
        How many jobs to work: the first whose cause is stored.
    fill : bool
        Take what a query says nothing of from other queries with its cause, which holds where
        findings depend on the cause alone; without it only what was recorded can be checked.

    Raises
    ------
    ImportTableError
        If no query leaves a check to do.
    """
    cases = read_stored(folder, stored=stored)
    scales = CaseIndex().fit(cases)
    known = {case.cause for case in cases if case.cause}
    starts = read_starts(folder, scales, fill=fill)
    starts = [start for start in starts if start.cause in known and start.truth][:jobs]
    if not starts:
        raise ImportTableError(
            f"{folder.name}: expected queries with more than {KNOWN[0]} entries and a stored cause, "
            "got none; name a folder with some"
        )
    fitted = fit_records([as_findings(case, scales) for case in cases])
    tech = Technician(fitted, {name for start in starts for name in start.truth})
    took = {name: [tech.minutes(policy, s) for s in starts] for name, policy in POLICIES.items()}
    return {
        "stored": len(cases),
        "jobs": len(starts),
        "checks_a_job": fmean(len(start.truth) for start in starts),
        "minutes": {name: _summary(rows) for name, rows in took.items()},
        "ours_against": {n: _against(took[OURS], took[n]) for n in POLICIES if n != OURS},
    }


def _summary(rows: Sequence[Took]) -> dict[str, float]:
    minutes = [row.minutes for row in rows]
    return {
        "mean": fmean(minutes),
        "error": mean_error(minutes),
        "median": median(minutes),
        "wrong_looks": fmean(row.wrong_looks for row in rows),
    }


def _against(ours: Sequence[Took], other: Sequence[Took]) -> dict[str, float]:
    above, below = [row.minutes for row in ours], [row.minutes for row in other]
    return {"ratio": fmean(above) / fmean(below), "error": ratio_error(above, below)}
