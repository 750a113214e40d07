"""Keep a large shop and bring it back on a new machine: seconds, and whether all of it is equal.

Run as ``python -m tests.benchmarks.bench_restore [CASES]`` (100,000 unless told otherwise).
"""

import resource
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path

from kb.case.model import Job
from kb.store.backup import make_backup
from kb.store.copies import describe
from kb.store.engine import DATABASE, default_url, open_store
from kb.store.restore import Wish, restore
from tests.factories import a_full_case, make_store

# What a restore of 100,000 cases may take (the shop's own demand).
MOST_SECONDS = 300.0


@contextmanager
def timed(what: str) -> Iterator[list[float]]:
    """Print how long something took, on the clock and of the processor."""
    wall, cpu = time.monotonic(), time.process_time()
    took: list[float] = []
    yield took
    took.append(time.monotonic() - wall)
    print(
        f"{what}: {took[0]:.1f} s ({time.process_time() - cpu:.1f} s of the processor)", flush=True
    )


def cases(count: int) -> Iterator[Job]:
    """Yield full cases, each with an invoice number of its own."""
    return (a_full_case(f"J{number:06d}") for number in range(1, count + 1))


def main(count: int) -> None:
    """Print what keeping and bringing back takes, and fail where something is not equal."""
    now = datetime.now(UTC)
    with tempfile.TemporaryDirectory() as scratch:
        old, new, kept = (Path(scratch, name) for name in ("old", "new", "kept"))
        make_store(default_url(old))
        with open_store(default_url(old)) as store:
            with timed(f"made {count} cases"), store.write("x", now) as unit:
                unit.jobs.add_many(cases(count), verb="import")
            store.mark()
        with timed("backup"):
            made = make_backup(default_url(old), kept, home=old, at=now)
        with timed("restore") as took:
            found = restore(made.path, default_url(new), who="x", at=now, wish=Wish())
        ours, theirs = describe(old / DATABASE), describe(new / DATABASE)
        equal = ours.cases == theirs.cases and ours.tables["jobs"] == theirs.tables["jobs"] == count
        sizes = (old / DATABASE).stat().st_size, made.path.stat().st_size
    print(f"database {sizes[0] / 1e6:.0f} MB, backup {sizes[1] / 1e6:.0f} MB")
    print(f"most memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1000:.0f} MB")
    print(f"hashes equal: {equal}, damaged: {len(found.damaged)}")
    print(f"restore within {MOST_SECONDS:.0f} s: {took[0] <= MOST_SECONDS}")
    if not equal or found.damaged or took[0] > MOST_SECONDS:
        raise SystemExit(1)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 100_000)
