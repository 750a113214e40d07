"""Turn single bits of a shop's database over: how many are noticed, is a changed case ever served.

``python -m tests.benchmarks.bench_flips --flips 400 --years 2``. Rows that are the same as before
give the same answers, so only jobs and tables with rows that differ are asked again; where the rows
cannot be read, everything is asked.
"""

import argparse
import random
import sqlite3
import tempfile
import time
from collections import Counter
from contextlib import closing
from pathlib import Path
from typing import Any

from kb.case.model import Job
from kb.case.terms import load_vocabulary
from kb.errors import StoreError
from kb.store.columns import Base
from kb.store.engine import default_url, open_store
from kb.store.loading import load_jobs
from kb.store.seals import broken_seals, sealed_tables
from kb.store.soundness import look_into
from kb.store.tables import JobRow
from web.shop_commands import make_demo

Dump = dict[str, set[tuple[Any, ...]]]


def dump(file: Path) -> Dump:
    """Return every row of every table, text as bytes."""
    with closing(sqlite3.connect(str(file))) as database:
        database.text_factory = bytes
        names = list(Base.metadata.tables)
        return {name: set(database.execute(f'SELECT * FROM "{name}"')) for name in names}


def flip(file: Path, good: bytes, drawn: random.Random) -> None:
    """Write the database with one bit turned over."""
    broken = bytearray(good)
    broken[drawn.randrange(len(good))] ^= 1 << drawn.randrange(8)
    for name in ("-wal", "-shm"):
        file.with_name(file.name + name).unlink(missing_ok=True)
    file.write_bytes(bytes(broken))


def touched(before: Dump, after: Dump) -> set[str]:
    """Return the ids of jobs of which any row differs."""
    found: set[Any] = set()
    for name, rows in after.items():
        columns = Base.metadata.tables[name].c.keys()
        key = "id" if name == "jobs" else "job_id"
        if key in columns:
            found |= {row[columns.index(key)] for row in rows ^ before[name]}
    return {text.decode(errors="replace") for text in found if isinstance(text, bytes)}


def quick(url: str) -> list[str]:
    """Return which of the questions about pages and schema find something."""
    wrong = []
    with look_into(url) as database:
        for name in ("pages", "orphans", "schema"):
            try:
                if getattr(database, name)():
                    wrong.append(name)
            except StoreError:
                wrong.append(name)
    return wrong


def rows_wrong(url: str, before: Dump, file: Path, jobs: dict[str, Job]) -> tuple[list[str], int]:
    """Return what the hashes and seals find, and how many changed jobs are handed out."""
    try:
        after = dump(file)
    except sqlite3.Error:
        return everything(url, jobs)
    ids = touched(before, after)
    changed = [table for table in sealed_tables() if after[table.name] != before[table.name]]
    wrong: list[str] = []
    try:
        with open_store(url) as store, store.read() as unit:
            damaged: set[str] = set()
            got = load_jobs(unit.connection, JobRow.id.in_(ids), damaged=damaged) if ids else ()
            wrong += ["jobs"] * bool(damaged)
            wrong += [row.name for row in changed if broken_seals(unit.connection, row) != ()]
    except StoreError:
        return ["unreadable"], 0
    return wrong, sum(job != jobs.get(job.id) for job in got)


def everything(url: str, jobs: dict[str, Job]) -> tuple[list[str], int]:
    """Ask for every job."""
    try:
        with open_store(url) as store, store.read() as unit:
            damaged: set[str] = set()
            got = load_jobs(unit.connection, damaged=damaged)
    except StoreError:
        return ["unreadable"], 0
    return ["jobs"] * bool(damaged), sum(job != jobs.get(job.id) for job in got)


def run(home: Path, flips: int, years: float, seed: int) -> None:
    """Make a shop, turn bits, print what was seen."""
    make_demo(home, load_vocabulary(), years=years).close()
    url, file = default_url(home), home / "baybook.db"
    with open_store(url) as store, store.read() as unit:
        jobs = {job.id: job for job in load_jobs(unit.connection)}
    good, before, drawn = file.read_bytes(), dump(file), random.Random(seed)
    by, noticed, changed, started = Counter[str](), 0, 0, time.process_time()
    for count in range(1, flips + 1):
        flip(file, good, drawn)
        found = quick(url)
        rows, handed = rows_wrong(url, before, file, jobs)
        noticed += bool(found or rows)
        changed += handed
        by.update({*found, *rows})
        if count % 50 == 0 or count == flips:
            print(
                f"{count} flips of {len(good)} bytes, {len(jobs)} jobs: {noticed} noticed "
                f"({noticed / count:.1%}), {changed} changed jobs handed out; by {dict(by)}; "
                f"{time.process_time() - started:.0f} s CPU",
                flush=True,
            )


def main() -> None:
    """Read the options and run."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--flips", type=int, default=400)
    options.add_argument("--years", type=float, default=2.0)
    options.add_argument("--seed", type=int, default=400)
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        run(Path(folder), chosen.flips, chosen.years, chosen.seed)


if __name__ == "__main__":
    main()
