"""Take a large shop in and let it out again: CPU seconds and the most memory held meanwhile.

``python -m tests.benchmarks.bench_exchange --cases 100000`` prints one line a step; each step runs
in a process of its own, so that its memory is its own.
"""

import argparse
import multiprocessing
import resource
import sys
import tempfile
import time
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

from kb.store.engine import default_url, open_store
from kb.store.exported import HISTORY
from kb.store.migrate import upgrade
from kb.store.whole_shop import KeptJob
from kb.workflow.exchange.found import find_export
from kb.workflow.exchange.give_out import FORMATS, give_out
from kb.workflow.exchange.known_words import KnownWords
from kb.workflow.exchange.lines import LinesSink
from kb.workflow.exchange.records import Start
from kb.workflow.exchange.take_in import take_in
from kb.workflow.exchange.taken import Rules, Taking
from tests.factories import a_full_case

NOW = datetime(2026, 5, 14, 9, 30, tzinfo=UTC)


def make(folder: Path, cases: int) -> None:
    """Write JSON Lines of many cases in which every list holds something."""
    folder.mkdir()
    sink = LinesSink(folder)
    sink.start(Start(jobs=cases, last_job=cases, made_at=NOW))
    ids = [f"J{number:06d}" for number in range(1, cases + 1)]
    for job_id in ids:
        case = replace(a_full_case(job_id), lines=(f"warm at lights, {job_id}",))
        sink.job(KeptJob(job=case, revision=1))
    for job_id in ids:
        line = {"at": NOW, "who": "Ines", "verb": "close", "job_id": job_id, "what": ""}
        sink.row(HISTORY, line)
    sink.end()


def take(source: Path, form: str, shop: Path, *, expected: int) -> None:
    """Take an export into the shop; ``expected`` new jobs."""
    found = find_export(source, form)
    shop.mkdir(exist_ok=True)
    upgrade(default_url(shop))
    with open_store(default_url(shop)) as store, store.write("Ines", NOW) as unit:
        words = KnownWords(unit)
        rules = Rules(roles=("owner",), photos_from=found.photos, photos_to=shop / "photos")
        taking = Taking(unit=unit, words=words, rules=rules)
        taken = take_in(taking, found.records(words), name=form)
    if taken.refused or taken.added["jobs"] != expected:
        raise SystemExit(f"expected {expected} new jobs, got {taken.added}, {taken.refused[:1]}")


def give(shop: Path, target: Path) -> None:
    """Let the shop out in all forms."""
    with open_store(default_url(shop)) as store, store.read() as unit:
        give_out(unit, target, forms=tuple(FORMATS), photos=shop / "photos", at=NOW)


def _measured(name, work, *given, **known):
    work(*given, **known)
    used = resource.getrusage(resource.RUSAGE_SELF)
    seconds = used.ru_utime + used.ru_stime
    sys.stdout.write(f"{name}: {seconds:.1f} s of CPU, at most {used.ru_maxrss / 1024:.0f} MiB\n")
    sys.stdout.flush()


def step(name, work, *given, **known):
    """Run one step in a process of its own."""
    context = multiprocessing.get_context("spawn")
    process = context.Process(target=_measured, args=(name, work, *given), kwargs=known)
    process.start()
    process.join()
    if process.exitcode:
        raise SystemExit(f"{name}: expected exit code 0, got {process.exitcode}")


def main() -> None:
    """Run all steps."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=10_000)
    cases = parser.parse_args().cases
    started = time.monotonic()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        step("make the lines", make, folder / "made", cases)
        step("take in JSON Lines", take, folder / "made", "jsonl", folder / "one", expected=cases)
        step("let out in three forms", give, folder / "one", folder / "out")
        step("take in again", take, folder / "out", "jsonl", folder / "one", expected=0)
        step("take in CSV tables", take, folder / "out", "csv", folder / "two", expected=cases)
        step("take in case files", take, folder / "out", "cases", folder / "three", expected=cases)
    sys.stdout.write(f"{cases} cases, {time.monotonic() - started:.0f} s in all\n")


if __name__ == "__main__":
    main()
