"""Copies of a busy shop: plain copies of its files against backups; how many are bad.

Run as ``python -m tests.benchmarks.bench_copies [COPIES]`` (50 unless told otherwise). Another
process writes some twenty cases a second all the while. A copy is bad that does not open, has damaged pages, rows or
cases, or lacks a case that was acknowledged before the copying began.
"""

import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from kb.errors import StoreError
from kb.store.archive import unpack
from kb.store.backup import make_backup
from kb.store.copies import check_copy
from kb.store.engine import DATABASE, default_url, open_store
from tests.factories import make_store

ROOT = Path(__file__).parents[2]


class Writer:
    """A process that writes cases until it is ended, and the ids that it acknowledged."""

    def __init__(self, url: str) -> None:
        command = [sys.executable, "-m", "tests.kb.store.other_process", "write_steadily", url]
        self.process = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)
        self.safe: list[str] = []
        threading.Thread(target=self._listen, daemon=True).start()

    def _listen(self) -> None:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.safe.append(line.strip())

    def end(self) -> None:
        """Stop writing."""
        self.process.kill()
        self.process.wait()


def copied_alone(home: Path, target: Path) -> None:
    """Copy the database's file, as a person would."""
    shutil.copyfile(home / DATABASE, target / DATABASE)


def copied_with_log(home: Path, target: Path) -> None:
    """Copy the database's file and then its log, as whoever copies the folder does."""
    copied_alone(home, target)
    log = home / f"{DATABASE}-wal"
    if log.exists():
        shutil.copyfile(log, target / log.name)


def backed_up(home: Path, target: Path) -> None:
    """Make a backup and take the database out of it."""
    made = make_backup(default_url(home), target / "kept", home=home, at=datetime.now(UTC))
    unpack(made.path, target)


def fault(target: Path, safe: list[str]) -> str:
    """Return what is wrong with a copy, empty where nothing is."""
    try:
        if wrong := check_copy(target / DATABASE):
            return f"{len(wrong)} damaged cases"
        with open_store(default_url(target)) as store, store.read() as unit:
            lost = set(safe) - set(unit.jobs.ids())
    except StoreError as error:
        return str(error).split("got", 1)[-1][:60]
    return "acknowledged cases missing" if lost else ""


def bad_of(kind: Callable[[Path, Path], None], home: Path, writer: Writer, copies: int) -> int:
    """Make copies of one kind and print how many are bad, and why."""
    faults: Counter[str] = Counter()
    for _ in range(copies):
        with tempfile.TemporaryDirectory() as scratch:
            time.sleep(0.05)
            safe = writer.safe[:]
            kind(home, Path(scratch))
            faults[fault(Path(scratch), safe)] += 1
    bad = copies - faults.pop("", 0)
    print(f"{kind.__name__}: {bad} bad of {copies} {dict(faults)}")
    return bad


def main(copies: int) -> None:
    """Print the bad copies of each kind; fail where a backup is among them."""
    with tempfile.TemporaryDirectory() as scratch:
        home = Path(scratch)
        make_store(default_url(home))
        writer = Writer(default_url(home))
        try:
            while len(writer.safe) < 200:
                time.sleep(0.1)
            kinds = (copied_alone, copied_with_log, backed_up)
            bad = {kind: bad_of(kind, home, writer, copies) for kind in kinds}
        finally:
            writer.end()
        print(f"cases written meanwhile: {len(writer.safe)}")
    if bad[backed_up]:
        raise SystemExit(1)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 50)
