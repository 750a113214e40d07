"""How long a question takes in shards in worker processes, against one index in the same run.

Run: ``python -m tests.benchmarks.bench_shards [--cases 10000] [--queries 60] [--workers 4]``.
Invented cases of ``scale_cases``; best 10 with reasons, one question at a time, in turns.
"""

import argparse
import time
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np
from distributed import Client, LocalCluster

from kb.retrieval.cluster import ClusterShards, write_shards
from kb.retrieval.feature_table import FeatureTable
from kb.retrieval.index import CaseIndex
from kb.retrieval.shards import ShardedIndex, split
from kb.retrieval.whole import Whole, counted
from tests.benchmarks.scale_cases import World


def measured(client, folder: Path, arguments: argparse.Namespace) -> dict[str, list[float]]:
    """Return the milliseconds of every question by how it was asked; unlike answers end it."""
    world = World()
    cases = [case for chunk in world.chunks(arguments.cases) for case in chunk]
    table = FeatureTable.of(cases)
    one = CaseIndex().fit_tables([table])
    whole, stamp, n_shards = Whole(one), {"for": "a benchmark"}, arguments.workers
    write_shards(folder, stamp, split([table], n_shards), whole=whole)
    shards = ClusterShards(lambda: client, folder, stamp, whole=whole, n_shards=n_shards)
    ways: dict[str, Any] = {"one index": one, "workers": ShardedIndex(counted(one), shards)}
    took: dict[str, list[float]] = {name: [] for name in ways}
    # The first questions fill what is kept after use.
    for at, query in enumerate(world.queries(arguments.queries + 10)):
        best = {}
        for name, index in ways.items():
            start = time.perf_counter()
            best[name] = tuple(index.ask(query).best(10))
            if at >= 10:
                took[name].append(1000 * (time.perf_counter() - start))
        if best["one index"] != best["workers"]:
            raise SystemExit(f"question {at}: expected the same answer from both ways")
    return took


def main() -> None:
    """Print both ways' times."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--cases", type=int, default=10_000)
    parser.add_argument("--queries", type=int, default=60)
    parser.add_argument("--workers", type=int, default=4)
    arguments = parser.parse_args()
    with (
        TemporaryDirectory() as scratch,
        LocalCluster(
            n_workers=arguments.workers,
            threads_per_worker=1,
            processes=True,
            host="127.0.0.1",
            dashboard_address="127.0.0.1:0",
            local_directory=f"{scratch}/workers",
        ) as cluster,
        Client(cluster, direct_to_workers=True) as client,
    ):
        for name, took in measured(client, Path(scratch) / "shards", arguments).items():
            p50, p95 = np.percentile(took, [50, 95])
            print(f"{name:10} p50 {p50:6.1f} ms  p95 {p95:6.1f} ms")


if __name__ == "__main__":
    main()
