"""How much longer a close takes for keeping what was said of the job before its cause was told.

Run: ``python -m tests.benchmarks.bench_close [--cases 10000] [--jobs 60]``. The cases are those of
the demonstration, varied with a fixed seed; each of the jobs has its findings and no close.
"""

import argparse
import random
import tempfile
import time
from dataclasses import replace
from pathlib import Path

from kb.case.model import JobState
from kb.case.terms import load_vocabulary
from kb.store.engine import default_url, open_store
from kb.store.migrate import upgrade
from kb.workflow.answers_at_close import shown_at_close
from kb.workflow.fitted import Fitted
from kb.workflow.memory import Memory
from tests.benchmarks.bench_pages import fill, varied_cases


def fitted_shop(cases: int) -> Fitted:
    """Return a shop of so many cases, fitted; print how long that takes, and taking up a kept one."""
    with tempfile.TemporaryDirectory() as folder:
        url = default_url(Path(folder))
        upgrade(url)
        with open_store(url) as store:
            fill(store, closed=cases, opened=0)
            start = time.perf_counter()
            fitted = Memory(store, load_vocabulary(), folder=Path(folder)).fitted()
            print(f"fitted {len(fitted.index.ids_)} cases in {time.perf_counter() - start:.2f} s")
            start = time.perf_counter()
            Memory(store, load_vocabulary(), folder=Path(folder)).as_fitted()
            print(f"kept index taken up in {time.perf_counter() - start:.2f} s")
    return fitted


def main() -> None:
    """Print the time of fitting, of the first close and of the others, in milliseconds."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--cases", type=int, default=10_000)
    parser.add_argument("--jobs", type=int, default=60)
    wanted = parser.parse_args()
    fitted = fitted_shop(wanted.cases)
    times, own, findings = [], 0.0, 0
    for at, job in enumerate(varied_cases(wanted.jobs, random.Random(7))):
        asked = replace(job, id=f"J{at:05d}", state=JobState.OPEN, closing=None)
        start, used = time.perf_counter(), time.process_time()
        assert shown_at_close(fitted, asked) is not None
        times.append(1000 * (time.perf_counter() - start))
        own += 1000 * (time.process_time() - used)
        findings += len(job.findings)
    rest = sorted(times[1:])
    print(f"first close {times[0]:.0f} ms")
    print(f"others: median {rest[len(rest) // 2]:.0f} ms, 95 % {rest[-len(rest) // 20]:.0f} ms")
    print(f"means: {findings / len(times):.1f} findings, {own / len(times):.0f} ms of this program")


if __name__ == "__main__":
    main()
