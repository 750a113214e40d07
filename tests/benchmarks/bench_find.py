"""How long a search takes at 10,000 cases, as a ratio to brute force on the text alone.

Run: ``python -m tests.benchmarks.bench_find [--cases 10000]``. Invented cases, fixed seed: texts
are words drawn from the demonstration's own texts, tokens and readings are mixed from its cases.
"""

import argparse
import random
import statistics
import time
from dataclasses import replace

from sklearn.feature_extraction.text import TfidfVectorizer
from sklearn.neighbors import NearestNeighbors

from kb.case.casefile import read_folder
from kb.case.terms import load_vocabulary
from kb.diagnosis.causes import CauseModel
from kb.diagnosis.checks import next_steps
from kb.retrieval.features import CaseFeatures, case_features
from kb.retrieval.index import CaseIndex
from kb.store.migrate import bundled


def mixed_cases(n_cases: int, rng: random.Random) -> list[CaseFeatures]:
    """Return invented features in the shape of the demonstration's."""
    words = load_vocabulary()
    seeds = [case_features(job, words) for job in read_folder(bundled("seed_cases"))[0]]
    vocabulary = [word for seed in seeds for word in seed.said.split()]
    mixed = []
    for number in range(n_cases):
        first, second = rng.choice(seeds), rng.choice(seeds)
        said = " ".join([*first.said.split()[:25], *rng.choices(vocabulary, k=20)])
        measures = tuple(
            replace(row, value=row.value * rng.uniform(0.9, 1.1)) for row in first.measures
        )
        tokens = first.tokens + tuple(rng.sample(second.tokens, min(3, len(second.tokens))))
        unique = {token.field: token for token in tokens}
        mixed.append(
            replace(
                first,
                case=f"B{number:06d}",
                said=said,
                told=second.told[:400],
                tokens=tuple(unique.values()),
                measures=measures,
            )
        )
    return mixed


def milliseconds(run, queries: list[CaseFeatures]) -> list[float]:
    """Return the time of ``run`` for each query, the best of 3."""
    times = []
    for query in queries:
        best = float("inf")
        for _ in range(3):
            start = time.perf_counter()
            run(query)
            best = min(best, time.perf_counter() - start)
        times.append(1000 * best)
    return sorted(times)


def main() -> None:
    """Print build time, search and whole-answer time, and the brute-force peer's time."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--cases", type=int, default=10_000)
    size = parser.parse_args().cases
    rng = random.Random(20261125)
    cases = mixed_cases(size, rng)
    queries = [replace(case, case="Q", told="") for case in mixed_cases(60, rng)]
    start = time.perf_counter()
    index = CaseIndex().fit(cases)
    model = CauseModel(load_vocabulary()).fit(cases, index)
    build = time.perf_counter() - start

    def answer(query: CaseFeatures) -> None:
        asked = index.ask(query)
        asked.best(5)
        chances = model.chances(asked)
        next_steps(model, chances)

    text = TfidfVectorizer(ngram_range=(1, 2), sublinear_tf=True)
    rows = text.fit_transform([case.said for case in cases])
    brute = NearestNeighbors(algorithm="brute", metric="cosine", n_neighbors=10).fit(rows)
    found = {
        "search with reasons": milliseconds(index.search, queries),
        "three answers": milliseconds(answer, queries),
        "brute force, text only": milliseconds(
            lambda query: brute.kneighbors(text.transform([query.said])), queries
        ),
    }
    print(f"{size} cases, built in {build:.1f} s")
    peer = statistics.median(found["brute force, text only"])
    for name, times in found.items():
        p50, p95 = statistics.median(times), times[int(0.95 * len(times))]
        print(f"{name:24} p50 {p50:7.2f} ms  p95 {p95:7.2f} ms  {p50 / peer:5.2f} x brute force")


if __name__ == "__main__":
    main()
