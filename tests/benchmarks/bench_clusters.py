"""How often a planted new pattern is found among recent jobs, and what is found where none is.

Run: ``python -m tests.benchmarks.bench_clusters [DATA_FOLDER] [--reviews 10]``; the folder
defaults to the environment variable BAYBOOK_DATA, without it only the invented jobs are measured.

Recent jobs are the demonstration's cases and, beyond them, such cases again: half the words,
tokens and readings of one, other words and tokens beside them, one cause in five not named. A
planted pattern is ten words (each said by 60 % of its jobs), three tokens (70 %) and two readings
within 5 % (80 %), among words and tokens of other cases, with any cause or none.

found: a group with two thirds of the planted jobs, which are at least half of it. unnamed: a group
in which most jobs were made of cases of one cause, most of them left without its name. false:
every other group. seconds: of one core. All are means a review.
"""

import argparse
import os
import random
import time
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TypeVar

from kb.case.casefile import read_folder
from kb.case.terms import load_vocabulary
from kb.diagnosis.clusters import CaseGroup, find_groups
from kb.retrieval.features import CaseFeatures, Token, case_features
from kb.retrieval.pairwise import Recent, compare_all
from kb.store.migrate import bundled
from kb.workflow.records import read_rounds
from kb.workflow.trials import read_lines

SIZES = (100, 400, 1000)
PLANTED = (3, 4, 6)
RECORDS = ("bn_child", "bn_alarm", "bn_win95pts", "shop_world/world0")
DAY = date(2026, 1, 5)
NAMED = 0.8
LEAST_FOUND = 2 / 3


Row = TypeVar("Row")


def some(rng: random.Random, rows: Iterable[Row], share: float) -> list[Row]:
    """Return each row with a chance of ``share``."""
    return [row for row in rows if rng.random() < share]


class Shop:
    """Makes recent jobs out of the demonstration's cases."""

    def __init__(self) -> None:
        words = load_vocabulary()
        self.seeds = [case_features(job, words) for job in read_folder(bundled("seed_cases"))[0]]
        self.said = [word for case in self.seeds for word in case.said.split()]
        self.told = [word for case in self.seeds for word in case.told.split()]
        self.tokens = [token for case in self.seeds for token in case.tokens]
        self.measures = [row for case in self.seeds for row in case.measures]

    def recent(self, rng: random.Random, size: int) -> tuple[list[CaseFeatures], dict[str, str]]:
        """Return recent jobs, and of each the cause of the case it was made of, or that case."""
        cases = rng.sample(self.seeds, min(size, len(self.seeds)))
        made = [(case, case.cause or case.case) for case in cases]
        made += [self.again(rng, f"B{at:04d}") for at in range(size - len(cases))]
        return [case for case, _ in made], {case.case: origin for case, origin in made}

    def again(self, rng: random.Random, name: str) -> tuple[CaseFeatures, str]:
        core, other = rng.choice(self.seeds), rng.choice(self.seeds)
        tokens = {token.field: token for token in rng.sample(other.tokens, 3)}
        tokens |= {token.field: token for token in some(rng, core.tokens, 0.5)}
        told = some(rng, core.told.split(), 0.5)[:60] + rng.choices(self.told, k=20)
        made = replace(
            core,
            case=name,
            said=" ".join(some(rng, core.said.split(), 0.5) + rng.choices(self.said, k=15)),
            told=" ".join(told),
            tokens=tuple(tokens.values()),
            measures=tuple(
                replace(row, value=row.value * rng.uniform(0.9, 1.1))
                for row in some(rng, core.measures, 0.6)
            ),
            cause=core.cause if rng.random() < NAMED else None,
        )
        return made, core.cause or core.case

    def pattern(self, rng: random.Random, size: int) -> list[CaseFeatures]:
        """Return the jobs of a pattern that is in no case."""
        words = rng.sample(sorted({word for word in self.said if len(word) > 3}), 10)
        telling = [row for row in self.tokens if row.part in {"symptom", "condition", "finding"}]
        tokens = rng.sample(telling, 3)
        keys = Counter(row.key for row in self.measures)
        readings = []
        for key in rng.sample(sorted(key for key, count in keys.items() if count >= 10), 2):
            values = sorted((row for row in self.measures if row.key == key), key=lambda r: r.value)
            readings.append(values[rng.choice([1, -2])])
        return [
            CaseFeatures(
                case=f"P{at}",
                said=" ".join(some(rng, words, 0.6) + rng.choices(self.said, k=12)),
                told=" ".join(some(rng, words, 0.3) + rng.choices(self.told, k=20)),
                tokens=self.own_tokens(rng, some(rng, tokens, 0.7)),
                measures=tuple(
                    replace(row, value=row.value * rng.uniform(0.95, 1.05))
                    for row in some(rng, readings, 0.8)
                ),
                cause=rng.choice([None, rng.choice(self.seeds).cause]),
            )
            for at in range(size)
        ]

    def own_tokens(self, rng: random.Random, telling: Sequence[Token]) -> tuple[Token, ...]:
        own = {token.field: token for token in rng.sample(rng.choice(self.seeds).tokens, 5)}
        return tuple((own | {token.field: token for token in telling}).values())

    def at_random(self, rng: random.Random, size: int) -> list[CaseFeatures]:
        """Return jobs as long as the cases with words, tokens and readings of any of them."""
        made = []
        for at in range(size):
            core = rng.choice(self.seeds)
            tokens = {row.field: row for row in rng.sample(self.tokens, len(core.tokens))}
            measures = {row.key: row for row in rng.sample(self.measures, len(core.measures))}
            made.append(
                CaseFeatures(
                    case=f"N{at:04d}",
                    said=" ".join(rng.choices(self.said, k=len(core.said.split()))),
                    told=" ".join(rng.choices(self.told, k=len(core.told.split()))),
                    tokens=tuple(tokens.values()),
                    measures=tuple(measures.values()),
                )
            )
        return made


def review(cases: Sequence[CaseFeatures]) -> tuple[tuple[CaseGroup, ...], float]:
    """Return the groups of one review, every job of another vehicle, and the seconds of one core."""
    start = time.process_time()
    groups = find_groups(compare_all([Recent(features=case, day=DAY) for case in cases]))
    return groups, time.process_time() - start


@dataclass
class Tally:
    """What the reviews of one row of a table found."""

    reviews: int = 0
    found: int = 0
    unnamed: int = 0
    false: int = 0
    seconds: float = 0.0

    def add(self, groups: Sequence[CaseGroup], planted: set[str], origin: dict[str, str]) -> None:
        for group in groups:
            hits = len(planted & set(group.cases))
            made = Counter(origin.get(case, "") for case in group.cases)
            cause, most = made.most_common(1)[0]
            if planted and hits >= LEAST_FOUND * len(planted) and 2 * hits >= len(group.cases):
                self.found += 1
            elif cause and 2 * most > len(group.cases):
                self.unnamed += 1
            else:
                self.false += 1

    def run(
        self, cases: Sequence[CaseFeatures], planted: set[str], origin: dict[str, str]
    ) -> "Tally":
        """Add one review."""
        groups, seconds = review(cases)
        self.add(groups, planted, origin)
        self.reviews += 1
        self.seconds += seconds
        return self

    def line(self, name: str) -> str:
        parts = (self.found, self.unnamed, self.false, self.seconds)
        found, unnamed, false, seconds = (part / self.reviews for part in parts)
        return f"{name:34} {found:6.2f} {unnamed:8.2f} {false:6.2f} {seconds:8.2f}"


HEAD = f"{'':34} {'found':>6} {'unnamed':>8} {'false':>6} {'seconds':>8}"


def invented(shop: Shop, reviews: int) -> None:
    """Print the planted patterns, and the reviews without any."""
    print("planted among recent jobs", HEAD[25:], sep="")
    for size in SIZES:
        for count in PLANTED:
            tally = Tally()
            for number in range(reviews):
                rng = random.Random(f"{size} {count} {number}")
                cases, origin = shop.recent(rng, size)
                pattern = shop.pattern(rng, count)
                tally.run([*cases, *pattern], {case.case for case in pattern}, origin)
            print(tally.line(f"{count} among {size}"), flush=True)
    print("nothing planted")
    print(Tally().run(shop.seeds, set(), {}).line(f"the {len(shop.seeds)} cases as they are"))
    for size in SIZES:
        tally = Tally()
        for number in range(reviews):
            tally.run(shop.at_random(random.Random(number), size), set(), {})
        print(tally.line(f"{size} jobs put together at random"), flush=True)


def orders(folder: Path) -> list[CaseFeatures]:
    """Return real work orders; component and failure stand for the cause."""
    rows = read_lines(folder / "corpus.jsonl")
    return [
        CaseFeatures(
            case=row["id"],
            said=row["text"],
            cause=" ".join([*row["component"], *row["failure"]]) or None,
        )
        for row in rows
    ]


def scrambled(rng: random.Random, cases: Sequence[CaseFeatures]) -> list[CaseFeatures]:
    """Return the cases with all words dealt out anew, no cause named."""
    words = [word for case in cases for word in case.said.split()]
    rng.shuffle(words)
    deck = iter(words)
    return [
        replace(case, said=" ".join(next(deck) for _ in case.said.split()), cause=None)
        for case in cases
    ]


def public(folder: Path, reviews: int) -> None:
    """Print what is found in work orders and records that nobody here wrote."""
    stored = orders(folder / "excavators")
    print("real work orders")
    for size in SIZES:
        plain, dealt = Tally(), Tally()
        for number in range(reviews):
            rng = random.Random(number)
            cases = rng.sample(stored, size)
            plain.run(cases, set(), {case.case: case.cause or "" for case in cases})
            dealt.run(scrambled(rng, cases), set(), {})
        print(plain.line(f"{size} orders"))
        print(dealt.line(f"{size} orders, words dealt out anew"), flush=True)
    print("records, the name of one cause taken off 6 of them")
    for name in RECORDS:
        tally = Tally()
        for number in range(reviews):
            tally = hidden(folder / name, random.Random(number), tally)
        print(tally.line(f"{name}, 6 among 400"), flush=True)


def hidden(folder: Path, rng: random.Random, tally: Tally) -> Tally:
    """Add a review in which 6 records of one cause, which no other has, are unnamed."""
    stored = read_rounds(folder)[0].stored
    counts = Counter(case.cause for case in stored)
    cause = rng.choice(sorted(name for name, count in counts.items() if name and count >= 6))
    own = rng.sample([case for case in stored if case.cause == cause], 6)
    rest = rng.sample([case for case in stored if case.cause != cause], 400)
    cases = [*(replace(case, cause=None) for case in own), *rest]
    return tally.run(
        cases, {case.case for case in own}, {case.case: case.cause or "" for case in rest}
    )


def main() -> None:
    """Print all tables."""
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", nargs="?", default=os.environ.get("BAYBOOK_DATA"))
    parser.add_argument("--reviews", type=int, default=10)
    asked = parser.parse_args()
    invented(Shop(), asked.reviews)
    if asked.folder:
        public(Path(asked.folder), asked.reviews)


if __name__ == "__main__":
    main()
