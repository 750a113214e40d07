"""Kill an upgrade before its statements: ``python -m tests.kb.store.killed_upgrades DIR [EVERY]``.

Before each of them, or every so many: each takes a few syncs of the disk.

Each time a child with everything loaded upgrades a copy of an old shop and kills itself; what is
left must be the old shop, with a backup of it, and the next upgrade must bring it up to date.
"""

import hashlib
import os
import shutil
import signal
import sqlite3
import sys
from collections.abc import Callable
from contextlib import closing
from functools import partial
from pathlib import Path

from sqlalchemy import Engine, event

from kb.store.backup_files import backups_in
from kb.store.engine import DATABASE, default_url, open_store
from kb.store.migrate import downgrade, schema_revision, upgrade
from kb.store.tables import SCHEMA_REVISION
from tests.factories import a_case
from tests.kb.store.other_process import NOW

OLD = "0001"
# The next upgrade is made after every so many kills: it takes longer than all the rest (our choice).
AGAIN_EVERY = 12


def old_shop(folder: Path) -> Path:
    """Make a shop of the first schema that holds a case, and return its database."""
    url = default_url(folder)
    upgrade(url)
    with open_store(url) as store, store.write("x", NOW) as unit:
        unit.jobs.add(a_case("J1"), verb="import")
    downgrade(url, OLD)
    return folder / DATABASE


def content(file: Path) -> str:
    """Return a hash of all that a database holds."""
    with closing(sqlite3.connect(file)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        return hashlib.sha256("\n".join(connection.iterdump()).encode()).hexdigest()


def in_a_child(work: Callable[[], None]) -> int:
    """Run work in a copy of this process and return how that ended; -9 where it was killed."""
    child = os.fork()
    if child == 0:
        work()
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def upgrade_and_die(url: str, at: int) -> None:
    """Upgrade, and be killed before statement number ``at``."""
    count = 0

    @event.listens_for(Engine, "before_cursor_execute")
    def step(*_: object) -> None:
        nonlocal count
        count += 1
        if count == at:
            os.kill(os.getpid(), signal.SIGKILL)

    upgrade(url)


def left_whole(folder: Path, before: str) -> None:
    """Hold what a kill left against the old shop."""
    file = folder / DATABASE
    assert content(file) == before
    for row in backups_in(folder / "backups"):
        assert not row.damaged


def comes_up(folder: Path) -> None:
    """Upgrade what a kill left, and hold its case against what was written."""
    url = default_url(folder)
    upgrade(url)
    assert schema_revision(url) == SCHEMA_REVISION
    with open_store(url) as store, store.read() as unit:
        assert unit.jobs.get("J1") == a_case("J1")
        assert unit.jobs.verify_hashes() == ()


def main(folder: Path, every: int) -> None:
    """Print at how many statements an upgrade was killed, and how many times it came up after."""
    old = old_shop(folder / "old")
    before, killed, again, backed_up = content(old), 0, 0, 0
    while True:
        home = folder / f"killed{killed * every + 1}"
        home.mkdir()
        shutil.copyfile(old, home / DATABASE)
        url, at = default_url(home), killed * every + 1
        if in_a_child(partial(upgrade_and_die, url, at)) != -signal.SIGKILL:
            break
        killed += 1
        left_whole(home, before)
        backed_up += len(backups_in(home / "backups"))
        if killed % AGAIN_EVERY == 0:
            comes_up(home)
            again += 1
        shutil.rmtree(home)
    comes_up(home)
    print(f"killed at {killed} statements, {backed_up} after the backup, came up {again + 1} times")


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1)
