"""How long the week takes over what was said at the closes of ten years, each with its findings.

Run: ``python -m tests.benchmarks.bench_answers [--years 10] [--per-week 96]``. The jobs are those of
``bench_week``; to each close five causes, six cases and the gains of its findings are kept, drawn
with a fixed seed. Topics and reading are timed once each, as a week is counted.
"""

import argparse
import random
import time
from datetime import date, timedelta

from kb.store.answers import Gain, ShownAnswer
from kb.store.engine import Store
from kb.store.week_rows import ClosedLine
from kb.workflow.week.answers import answers
from kb.workflow.week.checks import checks
from kb.workflow.week.seen import Seen
from tests.benchmarks.bench_week import WORDS, last_week, shop
from tests.kb.store.other_process import NOW


def drawn(line: ClosedLine, rng: random.Random) -> ShownAnswer:
    """Return what might have been said before a close: right first in two of three."""
    causes = rng.sample(list(WORDS.causes), 4)
    if line.cause:
        causes.insert(rng.choice((0, 0, 1)), line.cause)
    gains = tuple(
        Gain(
            ordinal=at,
            check=rng.choice(list(WORDS.checks)),
            subject=None,
            outcome=rng.choice(("normal", "failed")),
            minutes=rng.uniform(3, 40),
            bits=rng.expovariate(2.0),
            lead_changed=rng.random() < 0.3,
        )
        for at in range(rng.randrange(5))
    )
    return ShownAnswer(
        causes=tuple(zip([*causes, None], (0.6, 0.15, 0.1, 0.05, 0.05, 0.05), strict=False)),
        matches=tuple(f"J{rng.randrange(50_000):06d}" for _ in range(6)),
        nothing_like_it=rng.random() < 0.1,
        first_check=rng.choice(list(WORDS.checks)[:20]),
        gains=gains,
    )


def keep_all(store: Store) -> int:
    """Keep an answer with every close, and return how many there are."""
    rng = random.Random(20261128)
    with store.write("Ines", NOW - timedelta(weeks=200)) as unit:
        lines = unit.weeks.lines(date(1990, 1, 1), date(2100, 1, 1))
        for line in lines:
            unit.answers.keep(line.id, drawn(line, rng))
    return len(lines)


def main() -> None:
    """Print the milliseconds of what is shared and of both topics."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--years", type=float, default=10)
    parser.add_argument("--per-week", type=float, default=96)
    wanted = parser.parse_args()
    with shop(years=wanted.years, per_week=wanted.per_week) as (_, store):
        print(f"{keep_all(store)} closes with their answers")
        with store.read() as unit:
            seen = Seen(unit=unit, week=last_week(), words=WORDS)
            parts = {
                "shared: lines": lambda: seen.lines,
                "shared: whole jobs of 8 weeks": lambda: seen.jobs,
                "answers of 52 weeks": lambda: seen.shown,
                "checks": lambda: list(checks(seen)),
                "answers": lambda: list(answers(seen)),
            }
            for name, work in parts.items():
                start = time.perf_counter()
                made = work()
                print(f"{name}: {1000 * (time.perf_counter() - start):.0f} ms, {len(made)}")


if __name__ == "__main__":
    main()
