"""How long each page takes, and how large it is, in a shop of 10,000 closed cases.

Run: ``python -m tests.benchmarks.bench_pages [--cases 10000] [--open 30]``. The cases are those of
the demonstration, varied with a fixed seed; the pages are asked for by Flask's own test client,
signed in as the owner, so the figures leave out the network and the browser.
"""

import argparse
import random
import statistics
import tempfile
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

from kb.case.casefile import read_folder
from kb.case.model import Job, JobState, Reading
from kb.store.engine import Store, default_url, open_store
from kb.store.migrate import bundled, upgrade
from kb.workflow.suggest import as_written_up
from tests.kb.store.other_process import NOW
from tests.web.conftest import QUICK, Browser, session_for
from web import create_app
from web.rights import Role

ROUNDS = 25
WEEK = "/week?week=2025-W20"
VIN = "5ZZTR2P59GA004217"


def varied_reading(row: Reading, rng: random.Random) -> Reading:
    """Return a reading moved by up to a tenth."""
    if row.canonical is None or row.low != row.high:
        return row
    moved = row.canonical * rng.uniform(0.9, 1.1)
    return replace(row, canonical=moved, low=moved, high=moved)


def varied_cases(number: int, rng: random.Random) -> Iterator[Job]:
    """Return invented closed cases: those of the demonstration with words and readings varied."""
    seeds = read_folder(bundled("seed_cases"))[0]
    words = [word for seed in seeds for line in seed.lines for word in line.split()]
    words += [word for seed in seeds for word in seed.complaint.said.split()]
    for at in range(number):
        seed = rng.choice(seeds)
        said = " ".join([seed.complaint.said, *rng.choices(words, k=8)])
        closed = date(2020, 1, 1) + timedelta(days=rng.randrange(2000))
        groups = tuple(
            replace(group, readings=tuple(varied_reading(row, rng) for row in group.readings))
            for group in seed.reading_sets
        )
        closing = seed.closing and replace(seed.closing, closed=closed, overturned_by=None)
        yield replace(
            seed,
            id=f"B{at:06d}",
            invoice=None,
            comeback_of=None,
            opened=closed,
            vehicle=replace(seed.vehicle, vin=VIN if at % 2000 == 0 else None),
            complaint=replace(seed.complaint, said=said),
            reading_sets=groups,
            closing=closing,
        )


def fill(store: Store, *, closed: int, opened: int) -> None:
    """Write closed cases and open jobs."""
    rng = random.Random(20261128)
    with store.write("Ines", NOW) as unit:
        unit.jobs.add_many(varied_cases(closed, rng), verb="import")
    rows = [
        replace(
            as_written_up(job),
            id=f"J{at:06d}",
            state=JobState.OPEN,
            vehicle=replace(job.vehicle, vin=VIN),
        )
        for at, job in enumerate(varied_cases(opened, rng), 1)
    ]
    with store.write("Ines", NOW) as unit:
        unit.jobs.add_many(rows, verb="open")


PAGES: Sequence[tuple[str, str]] = (
    ("Today", "/"),
    ("Job", "/job/J000001"),
    ("Job, brakes", "/job/J000001?system=brakes"),
    ("Checks of a system", "/job/J000001/checks?system=hvac"),
    ("Close", "/job/J000001/close"),
    ("Case", "/case/B000001"),
    ("Find, empty", "/find"),
    ("Find, question", "/find?q=cold+on+the+road,+warm+at+lights;+low+58+hi+318+amb+91"),
    ("Find, filtered", "/find?q=cold+on+the+road,+warm+at+lights;+hi+318&system=hvac&method=seen"),
    ("Find, list", "/find?system=hvac&from=2021-01-01"),
    ("Find, last page", "/find?from=2020-01-01&page=400"),
    ("Answers while typing", "/job/J000001/answers?text=fan+silent+with+the+A/C+on"),
    ("Answers, Find", "/answers?q=cold+on+the+road,+warm+at+lights;+low+58+hi+318+amb+91"),
    ("For the customer", "/case/B000001/customer"),
    ("Label", "/job/J000001/label"),
    ("Trust", "/trust"),
    # A week among those in which the cases were closed; its first view counts it.
    ("Week", WEEK),
    ("Words", "/words"),
    ("Words, causes", "/words?show=causes"),
    ("Words, checks", "/words?show=checks"),
    ("Words, quantities", "/words?show=quantities"),
    ("People", "/people"),
    ("Own page", "/me"),
)


def measured(browser: Browser, path: str) -> tuple[list[float], list[float], int]:
    """Return the milliseconds of each round, by the wall and of this program, and the bytes."""
    times, own, size = [], [], 0
    for _ in range(ROUNDS):
        start, used = time.perf_counter(), time.process_time()
        answer = browser.client.get(path)
        times.append(1000 * (time.perf_counter() - start))
        own.append(1000 * (time.process_time() - used))
        size = len(answer.data)
        if answer.status_code != 200:
            raise SystemExit(f"expected the page {path}, got {answer.status_code}")
    return sorted(times), sorted(own), size


def main() -> None:
    """Print for each page p50 and p95 in milliseconds and its size in kB.

    On a machine that others use too, the milliseconds of computing say more than those by the wall.
    """
    parser = argparse.ArgumentParser()
    parser.add_argument("--cases", type=int, default=10_000)
    parser.add_argument("--open", type=int, default=30)
    args = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        home = Path(folder)
        url = default_url(home)
        upgrade(url)
        start = time.perf_counter()
        with open_store(url) as store:
            fill(store, closed=args.cases, opened=args.open)
            filled = time.perf_counter() - start
            app = create_app({"HOME": home, "STORE_URL": url, "HASHER": QUICK})
            browser = Browser(app, session_for(store, Role.OWNER))
            start = time.perf_counter()
            browser.page("/job/J000001")
            print(
                f"{args.cases} cases, {args.open} open jobs; written in {filled:.0f} s, "
                f"first answer {time.perf_counter() - start:.1f} s"
            )
            start = time.perf_counter()
            browser.page(WEEK)
            print(f"the week counted by its first view in {time.perf_counter() - start:.1f} s")
            for name, path in PAGES:
                times, own, size = measured(browser, path)
                p50, p95 = statistics.median(times), times[int(0.95 * len(times))]
                print(
                    f"{name:20} p50 {p50:7.1f} ms  p95 {p95:7.1f} ms  of it computing "
                    f"{statistics.median(own):7.1f} ms  {size / 1000:6.1f} kB",
                    flush=True,
                )


if __name__ == "__main__":
    main()
