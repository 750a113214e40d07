"""How often the weekly review cries wolf, and how soon it sees what is really there.

Run: ``python -m tests.benchmarks.bench_week_rules [--runs 40]``. Shops are invented, their truth
is known, seeds are fixed; every figure stands with its standard error over the runs, beside what
is demanded of it. Four times as many runs are made where one run gives only a yes or a no.
"""

import argparse
import time
from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from kb.diagnosis.measure import mean_error
from kb.diagnosis.trends import find_trends
from tests.benchmarks.week_worlds import (
    HISTORY,
    as_series,
    cause_rates,
    comebacks,
    false_alarms,
    fleet_batch,
    found_after,
    holidays,
    more_recorded,
    pair_alarms,
    pair_found,
)

JOBS = (20, 50, 100)
SWINGS = (0.0, 0.8)


def figure(values: Iterable[float | bool]) -> str:
    """Return the mean of the runs with its standard error."""
    rows = [float(value) for value in values]
    return f"{np.mean(rows):.3f} ± {mean_error(rows):.3f}"


def line(what: str, got: str, demanded: str = "") -> None:
    """Print one row of the table."""
    print(f"{what:<82} {got:<16} {demanded}", flush=True)


def season_name(swing: float) -> str:
    """Return how a season is called in the table."""
    return f"season ±{100 * swing:.0f} %" if swing else "no season"


def print_false_alarms(runs: int) -> None:
    """Print the new flags a week of shops in which nothing changes."""
    print("Nothing changes: new flags a week among 80 causes")
    for swing in SWINGS:
        for jobs in JOBS:
            news = [false_alarms(seed, jobs=jobs, swing=swing) for seed in range(runs)]
            name = f"  {season_name(swing)}, {jobs} jobs a week"
            limit = "at most .15" if swing else "at most .10"
            line(f"{name}: watches", figure(row["watch"] for row in news), "at most .35")
            line(f"{name}: alerts", figure(row["alert"] for row in news), limit)


def print_found(runs: int) -> None:
    """Print how many rising causes are an alert by week 4, 8 and 13."""
    print("A cause goes from .4 to 1.6 a week: share of shops alerted")
    for swing in SWINGS:
        for jobs in JOBS:
            weeks = [found_after(seed, jobs=jobs, swing=swing)["alert"] for seed in range(runs)]
            for by in (4, 8, 13):
                seen = figure(week is not None and week <= by for week in weeks)
                least = {8: (".60", ".55"), 13: (".80", ".75")}.get(by)
                demanded = f"at least {least[swing > 0]}" if least else ""
                name = f"  {season_name(swing)}, {jobs} jobs a week, by week {by}"
                line(name, seen, demanded)


def print_pairs(runs: int) -> None:
    """Print false and true watches of pairs of a model and a cause."""
    print("Pairs of 40 models and 80 causes, within the causes worth splitting")
    for jobs in JOBS:
        news = figure(pair_alarms(seed, jobs=jobs) for seed in range(runs))
        line(f"  nothing changes, {jobs} jobs a week: new watches a week", news, "at most .35")
    found = figure(pair_found(seed, jobs=50) is not None for seed in range(4 * runs))
    line("  one pair goes from .1 to 1 a week, 50 jobs: watched by week 8", found, "at least .70")


def print_traps(runs: int) -> None:
    """Print what happens in shops that invite a mistake, beside the rule without its guard."""
    print("Traps, 50 jobs a week: new flags a week (watches and alerts)")
    for name, trap in (
        ("a new person records twice as much", more_recorded),
        ("4 weeks closed and 4 with a fifth of the jobs each year", holidays),
    ):
        for by_jobs, exposure in ((True, "jobs"), (False, "weeks, not our rule")):
            news = [sum(trap(seed, by_jobs=by_jobs).values()) for seed in range(runs)]
            line(f"  {name}, by {exposure}", figure(news), "at most .45" if by_jobs else "")
    for collapsed, counted in ((True, "days"), (False, "vans, not our rule")):
        seen = figure(fleet_batch(seed, collapsed=collapsed) for seed in range(4 * runs))
        line(f"  8 vans of a fleet in 2 days, by {counted}: share flagged in 8 weeks", seen)


def print_comebacks(runs: int) -> None:
    """Print the share of comebacks by both ways of reckoning."""
    print("Comebacks within 90 days, truth .200; four in ten cars are lost from sight before")
    shares = [comebacks(seed) for seed in range(4 * runs)]
    line("  Kaplan-Meier", figure(row[0] for row in shares), "within .01")
    line("  plain share, not our rule", figure(row[1] for row in shares))


def print_speed() -> None:
    """Print how long one review takes."""
    rng = np.random.default_rng(1)
    counts = rng.poisson(cause_rates(rng, jobs=100, weeks=HISTORY + 30, swing=0.8))
    rows = as_series(counts, 160)
    rows = [replace(row, key=f"{copy}/{row.key}") for copy in range(3) for row in rows][:200]
    exposure, best = counts.sum(axis=0).tolist(), float("inf")
    for _ in range(10):
        start = time.perf_counter()
        find_trends(rows, exposure)
        best = min(best, time.perf_counter() - start)
    line(f"One review of {len(rows)} series of 160 weeks", f"{1000 * best:.1f} ms")


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--runs", type=int, default=40)
    runs = parser.parse_args().runs
    print_false_alarms(runs)
    print_found(4 * runs)
    print_pairs(runs)
    print_traps(runs)
    print_comebacks(runs)
    print_speed()


if __name__ == "__main__":
    main()
