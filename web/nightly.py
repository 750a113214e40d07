"""The nightly backup beside the pages: a thread that looks at the clock and starts the command."""

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from getpass import getuser
from pathlib import Path
from threading import Event, Thread
from typing import Final

from kb.errors import KBError
from kb.store.engine import open_store
from kb.workflow.nightly import claim, is_due, last_done
from web.beside import run_beside
from web.layout import say

# Seconds between two looks at the clock (our choice).
LOOK_EVERY_S: Final = 300.0


def steady_seconds() -> float:
    """Return seconds by a clock that nobody sets, and that goes on while the machine sleeps."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic() if boot is None else time.clock_gettime(boot)


def start_backup(url: str, home: Path) -> bool:
    """Run the backup as a program of its own, so that no page waits for it; say if all went well."""
    return run_beside(("backup", "--unhurried"), url=url, home=home)


def wall_clock() -> datetime:
    """Return the moment in the zone of the shop's clock."""
    return datetime.now().astimezone()


@dataclass(kw_only=True)
class Nightly:
    """Looks whether a backup is due, and makes it.

    Parameters
    ----------
    url : str
        The shop's database.
    home : Path
        Its folder.
    clock : callable
        Returns the moment in the zone of the shop's clock.
    steady : callable
        Returns seconds by a clock that nobody sets.
    run : callable
        Makes the backup and notes that it is done; False where it did not.
    """

    url: str
    home: Path
    clock: Callable[[], datetime] = wall_clock
    steady: Callable[[], float] = steady_seconds
    run: Callable[[str, Path], bool] = start_backup
    _looked: bool = field(default=False, init=False)
    _last: datetime | None = field(default=None, init=False)
    _since: float | None = field(default=None, init=False)

    def look(self) -> bool:
        """Make the backup if it is due and no other process does; say whether it was made.

        Raises
        ------
        KBError
            If the shop cannot be read.
        """
        now = self.clock()
        with open_store(self.url, home=self.home) as store:
            with store.read() as unit:
                last = last_done(unit)
            self._note(last)
            self._looked = True
            hours = None if self._since is None else (self.steady() - self._since) / 3600
            if not is_due(now, last, hours_since=hours):
                return False
            if not claim(store, now, seen=last, who=getuser()):
                return False
        if not self.run(self.url, self.home):
            return False
        with open_store(self.url, home=self.home) as store, store.read() as unit:
            self._note(last_done(unit))
        return True

    def _note(self, last: datetime | None) -> None:
        """Remember by the steady clock when the last backup was done.

        At the first look the clock on the wall is believed; later, when the moment was seen to
        change.
        """
        if last == self._last:
            return
        ago = 0.0 if self._looked or last is None else (self.clock() - last).total_seconds()
        self._since = self.steady() - ago if ago >= 0 else None
        self._last = last


@contextmanager
def nightly_backups(url: str, *, home: Path) -> Iterator[Callable[[], None]]:
    """Back the shop up every night while the block runs, in every process that asks for it.

    What the shop holds is noted beside its database before and after. Yields what a process calls
    to begin; its first look comes a little later.
    """
    nightly, ended = Nightly(url=url, home=home), Event()
    _mark(url, home)

    def look_on() -> None:
        while not ended.wait(LOOK_EVERY_S):
            try:
                nightly.look()
            except (KBError, OSError) as error:
                say(f"no backup was made: {error}", err=True)

    def begin() -> None:
        Thread(target=look_on, name="nightly backup", daemon=True).start()

    try:
        yield begin
    finally:
        ended.set()
        _mark(url, home)


def _mark(url: str, home: Path) -> None:
    with open_store(url, home=home) as store:
        store.mark()
