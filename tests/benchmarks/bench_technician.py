"""Minutes to the proven cause of a simulated technician, by policy, on published networks.

``python -m tests.benchmarks.bench_technician DIR [STORED] [JOBS] [KNOWN]`` with a folder of structured
records whose queries carry ``unseen_truth``. Minutes of checks (2 to 15) and of looks (10 to 120)
are invented, drawn with a fixed seed; a look at the true cause ends the job. Every policy starts
from the findings of the query, or the first KNOWN of them; all but ``looks`` go over to looks at a chance of .9.
"""

import json
import random
import statistics
import sys
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from kb.diagnosis.checks import information_gain
from kb.diagnosis.findings import closeness, expected_shares
from kb.diagnosis.looks import best_check, better_to_look, look_order
from kb.retrieval.features import CaseFeatures, observed_token
from kb.workflow.records import read_stored
from kb.workflow.structured import fit_records

SURE = 0.9


@dataclass
class Bench:
    """A job on the bench: what is known, what was looked at, what it took so far."""

    asked: CaseFeatures
    truth: dict[str, str]
    looked: set[str] = field(default_factory=set)
    minutes: float = 0.0


class Technician:
    def __init__(self, folder: Path, stored: int) -> None:
        self.fitted = fit_records(read_stored(folder, stored=stored))
        self.causes = self.fitted.model.causes_
        rng = random.Random(5)
        self.look = np.array([rng.uniform(10, 120) for _ in sorted(self.causes)])
        self.check: dict[str, float] = {}
        self.rng = rng

    def minutes_of(self, name: str) -> float:
        if name not in self.check:
            self.check[name] = random.Random(name).uniform(2, 15)
        return self.check[name]

    def state(self, bench: Bench):
        held = self.fitted.index.ask(bench.asked)
        by = {row.cause: row.chance for row in self.fitted.model.chances(held)}
        chances = np.array([0.0 if c in bench.looked else by[c] for c in self.causes])
        return chances / chances.sum(), closeness(held.scores)

    def tables(self, bench: Bench, near):
        model = self.fitted.model
        fields = {name: observed_token(name, "").field for name in sorted(bench.truth)}
        kept = {n: f for n, f in fields.items() if len(model.recorded(f)[0]) > 1}
        return {name: expected_shares(model, f, near) for name, f in kept.items()}

    def do_check(self, bench: Bench, name: str) -> None:
        bench.minutes += self.minutes_of(name)
        token = observed_token(name, bench.truth.pop(name))
        bench.asked = replace(bench.asked, tokens=(*bench.asked.tokens, token))

    def do_look(self, bench: Bench, cause: str, at: int) -> bool:
        bench.minutes += self.look[at]
        bench.looked.add(self.causes[at])
        return self.causes[at] == cause


Policy = Callable[[Technician, Bench, np.ndarray, dict[str, np.ndarray]], str | None]


def looks(tech, bench, chances, tables):
    return None


def cheapest(tech, bench, chances, tables):
    return min(tables, key=tech.minutes_of)


def anything(tech, bench, chances, tables):
    return tech.rng.choice(sorted(tables))


def by_gain(tech, bench, chances, tables):
    names = list(tables)
    gains = [information_gain(chances, tables[name]) for name in names]
    return names[best_check(gains, [tech.minutes_of(name) for name in names])]


def with_stop(tech, bench, chances, tables):
    name = by_gain(tech, bench, chances, tables)
    minutes = tech.minutes_of(name)
    stop = better_to_look(chances, tech.look, shares=tables[name], check_minutes=minutes)
    return None if stop else name


POLICIES: dict[str, Policy] = {
    "random": anything, "fixed, cheapest first": cheapest, "looks by p/C": looks,
    "gain a minute": by_gain, "gain a minute with stop": with_stop,
}  # fmt: skip


def work(tech: Technician, policy: Policy, row, known: int | None) -> float:
    start = dict(list(row["seen"].items())[:known])
    rest = {name: value for name, value in row["seen"].items() if name not in start}
    tokens = tuple(observed_token(name, value) for name, value in start.items())
    asked = CaseFeatures(case="Q", tokens=tokens)
    bench = Bench(asked=asked, truth={**rest, **row["unseen_truth"]})
    while True:
        chances, near = tech.state(bench)
        tables = tech.tables(bench, near) if chances.max() < SURE else {}
        name = policy(tech, bench, chances, tables) if tables else None
        if name is not None:
            tech.do_check(bench, name)
        elif tech.do_look(bench, row["cause"], int(look_order(chances, tech.look)[0])):
            return bench.minutes


def main(folder: str, stored: str = "1000", jobs: str = "100", known: str = "") -> dict[str, float]:
    rows = [json.loads(line) for line in (Path(folder) / "queries.jsonl").read_text().splitlines()]
    tech = Technician(Path(folder), int(stored))
    named = [row for row in rows if row["cause"] in tech.causes and "unseen_truth" in row]
    named, start = named[: int(jobs)], int(known) if known else None
    means = {}
    for name, policy in POLICIES.items():
        took = [work(tech, policy, row, start) for row in named]
        means[name] = statistics.fmean(took)
        print(f"{name:26} mean {means[name]:6.1f}  median {statistics.median(took):6.1f} min")
    ours = means["gain a minute with stop"]
    print(f"against fixed {ours / means['fixed, cheapest first']:.2f}", end=", ")
    print(f"against p/C {ours / means['looks by p/C']:.2f} ({len(named)} jobs)")
    return means


if __name__ == "__main__":
    main(*sys.argv[1:])
