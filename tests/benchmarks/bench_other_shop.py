"""How much a case of another shop should count: chances on a shop's own jobs, by that weight.

Run ``python -m tests.benchmarks.bench_other_shop``. The jobs are invented: a young shop knows a few
of its own and takes in many of another one, a share of which names a wrong cause: here and there,
or by habit (some causes always taken for another one). Asked are jobs that neither had.
"""

import random
import sys
from collections.abc import Sequence
from dataclasses import replace
from datetime import date
from math import log

from kb.case.model import Job
from kb.case.terms import Vocabulary, load_vocabulary
from kb.retrieval.features import CaseFeatures
from kb.store.migrate import bundled
from kb.workflow.invented import make_jobs
from kb.workflow.suggest import (
    FROM_ANOTHER_SHOP,
    as_written_up,
    fit_features,
    suggest_from,
    witness_features,
)

TODAY = date(2026, 11, 25)
OWN, OTHERS, ASKED, SEED = 150, 450, 250, 11
WEIGHTS = (0.0, 0.25, 0.5, 0.75, 1.0)
# Share of the other shop's cases whose cause is wrong, and whether by habit.
WORLDS = ((0.0, False), (0.2, False), (0.4, False), (0.2, True), (0.4, True))


def with_wrong_causes(
    cases: Sequence[CaseFeatures], share: float, *, habit: bool
) -> list[CaseFeatures]:
    """Return cases of which a share names another cause, drawn anew or the same for a cause."""
    rng = random.Random(SEED)
    causes = sorted({row.cause for row in cases if row.cause})
    taken_for = {cause: rng.choice(causes) for cause in causes}
    wrong = set(rng.sample(causes, round(share * len(causes))))
    made = []
    for row in cases:
        other = taken_for[row.cause or ""] if habit else rng.choice(causes)
        is_wrong = row.cause in wrong if habit else rng.random() < share
        made.append(replace(row, cause=other) if is_wrong else row)
    return made


def asked(
    known: Sequence[CaseFeatures], jobs: Sequence[Job], words: Vocabulary
) -> tuple[float, float]:
    """Return how often the likeliest cause is the true one, and minus the mean log chance of it."""
    index, model = fit_features(known, words)
    first, loss = 0, 0.0
    for job in jobs:
        causes = suggest_from(index, model, as_written_up(job)).causes
        named = [row for row in causes if row.cause is not None]
        first += named[0].cause == job.cause
        chance = next((row.chance for row in named if row.cause == job.cause), 0.0)
        loss -= log(max(chance, 1e-6))
    return first / len(jobs), loss / len(jobs)


def main() -> None:
    """Print one line for each world: the share right first and the loss at each weight."""
    words = load_vocabulary()
    made = make_jobs(TODAY, words, folder=bundled("seed_cases"))
    cases = [row.job for row in made if row.job.is_case]
    random.Random(SEED).shuffle(cases)
    own, others = cases[:OWN], cases[OWN : OWN + OTHERS]
    jobs = cases[OWN + OTHERS : OWN + OTHERS + ASKED]
    mine = [witness_features(job, words, 0.0) for job in own]
    theirs = [witness_features(job, words, 0.0) for job in others]
    sys.stdout.write(
        f"{OWN} own cases, {OTHERS} of another shop, {len(jobs)} jobs asked; "
        f"in use: {FROM_ANOTHER_SHOP}\n"
        "weight: share right first / loss in nats (smaller is better)\n"
    )
    for share, habit in WORLDS:
        given = with_wrong_causes(theirs, share, habit=habit)
        cells = []
        for weight in WEIGHTS:
            kept = [replace(row, weight=weight * row.weight) for row in given] if weight else []
            right, loss = asked([*mine, *kept], jobs, words)
            cells.append(f"{weight:g}: {right:.3f} / {loss:.3f}")
        kind = "by habit" if habit else "at random"
        sys.stdout.write(f"{share:.0%} wrong {kind}:  " + "   ".join(cells) + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
