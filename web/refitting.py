"""Fitting anew beside the pages: a thread that looks from time to time and starts the command."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Event, Thread
from typing import Final

from kb.errors import StoreError
from kb.store.turn import Turn
from web.beside import run_beside

# Seconds between two looks (our choice).
LOOK_EVERY_S: Final = 120.0
# Beside the shop's database lies the door at which programs that fit anew turn back.
_DOOR: Final = "refit"


def start_refit(url: str, home: Path) -> bool:
    """Fit anew if it is due, as a program of its own; say whether this process was the one."""
    try:
        with Turn(home / _DOOR).taken(0, others_ms=0):
            run_beside(("rebuild", "--if-due"), url=url, home=home)
    except StoreError:
        # Another process is at it.
        return False
    return True


@contextmanager
def refits(
    url: str, *, home: Path, run: Callable[[str, Path], bool] = start_refit
) -> Iterator[Callable[[Callable[[], bool]], None]]:
    """Fit the closed jobs anew when much is new, while the block runs.

    Yields what a process calls to begin, with what says whether it is time; its first look comes a
    little later.
    """
    ended = Event()

    def begin(is_due: Callable[[], bool]) -> None:
        def look_on() -> None:
            while not ended.wait(LOOK_EVERY_S):
                if is_due():
                    run(url, home)

        Thread(target=look_on, name="fitting anew", daemon=True).start()

    try:
        yield begin
    finally:
        ended.set()
