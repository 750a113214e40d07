"""Whether all that the shop relies on is sound: the database, its files, the machine around it."""

import hashlib
import os
import shutil
import stat
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from pathlib import Path
from typing import Final

from kb.errors import KBError
from kb.retrieval.learned_file import read_learned
from kb.retrieval.snapshot import read_snapshot
from kb.store.backup_files import read_name
from kb.store.engine import open_store, sqlite_file
from kb.store.marker import last_backup, marked_place
from kb.store.photo_files import photo_path
from kb.store.soundness import Soundness, look_into
from kb.store.truncation import LONG_LOG, log_bytes
from kb.workflow.following import Source
from kb.workflow.last_rebuild import last_rebuild
from kb.workflow.memory import LEARNED, SNAPSHOT
from kb.workflow.words import words_of

# Below this many free bytes the next days may not fit, below the other not the next hour; how far
# the clock may lag behind the newest record; how old the last backup of a shop with a nightly one may
# be; names that one line tells (our choices).
ROOM_LOW: Final = 1_000_000_000
ROOM_NONE: Final = 50_000_000
CLOCK_SLACK: Final = timedelta(minutes=10)
BACKUP_AGE: Final = timedelta(days=2)
_MOST_NAMED: Final = 10
_RESTORE: Final = "stop the program, keep a copy of the folder, then run baybook restore"


class State(StrEnum):
    """How one thing stands."""

    SOUND = "sound"
    LOOK = "look"
    WRONG = "wrong"


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """One thing that was looked at, how it stands, what was seen, and what to do about it."""

    name: str
    state: State
    seen: str
    to_do: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a shop lies and what its memory is fitted for.

    ``photos`` is the folder of its photos; ``altitude_m`` in metres.
    """

    url: str
    home: Path
    photos: Path
    altitude_m: float = 0.0


def examine(place: Place, now: datetime) -> tuple[Looked, ...]:
    """Look at everything, the database first; nothing is changed.

    Parameters
    ----------
    place : Place
        The shop.
    now : datetime
        The present moment, with a zone.
    """
    try:
        with look_into(place.url) as database:
            rows = _database(database, place, now)
    except KBError as error:
        rows = (_wrong("database", str(error), _RESTORE),)
    return (*rows, *_around(place, now))


def _database(database: Soundness, place: Place, now: datetime) -> tuple[Looked, ...]:
    asked: tuple[tuple[str, Callable[[], Looked]], ...] = (
        ("tables", lambda: _none_of("tables", database.schema(), "as this program made them")),
        ("pages", lambda: _none_of("pages", database.pages(), "whole")),
        ("rows without their job", lambda: _none_of("rows without their job", database.orphans())),
        ("jobs and cases", lambda: _jobs(database)),
        ("other records", lambda: _none_of("other records", database.changed_rows(), "as written")),
        ("history", lambda: _history(database)),
        ("clock", lambda: _clock(database, now)),
        ("photos", lambda: _photos(database, place.photos)),
        ("kept index", lambda: _index(place)),
    )
    return tuple(_tried(name, look) for name, look in asked)


def _tried(name: str, look: Callable[[], Looked]) -> Looked:
    try:
        return look()
    except (KBError, OSError) as error:
        return _wrong(name, str(error), _RESTORE)


def _wrong(name: str, seen: str, to_do: str) -> Looked:
    return Looked(name=name, state=State.WRONG, seen=seen, to_do=to_do)


def _look(name: str, seen: str, to_do: str) -> Looked:
    return Looked(name=name, state=State.LOOK, seen=seen, to_do=to_do)


def _sound(name: str, seen: str) -> Looked:
    return Looked(name=name, state=State.SOUND, seen=seen)


def _named(rows: Sequence[str]) -> str:
    more = f" and {len(rows) - _MOST_NAMED} more" if len(rows) > _MOST_NAMED else ""
    return ", ".join(rows[:_MOST_NAMED]) + more


def _none_of(name: str, wrong: Sequence[str], good: str = "none") -> Looked:
    return _wrong(name, _named(wrong), _RESTORE) if wrong else _sound(name, good)


def _jobs(database: Soundness) -> Looked:
    wrong = database.damaged_jobs()
    if not wrong:
        return _sound("jobs and cases", "each as it was written")
    seen = f"changed on the disk since they were written: {_named(wrong)}"
    return _wrong("jobs and cases", f"{seen}; they are not shown until then", _RESTORE)


def _history(database: Soundness) -> Looked:
    untold, lost = database.without_history(), database.out_of_order()
    if untold:
        return _wrong("history", f"no line tells of {_named(untold)}", _RESTORE)
    if lost:
        return _wrong("history", f"lines are missing of {lost} jobs", _RESTORE)
    return _sound("history", "a line for every write")


def _clock(database: Soundness, now: datetime) -> Looked:
    newest = database.newest_line()
    if newest is not None and newest > now + CLOCK_SLACK:
        seen = f"{now:%Y-%m-%d %H:%M} UTC, but the newest record is of {newest:%Y-%m-%d %H:%M}"
        return _look("clock", seen, "set this machine's date and time; records keep their order")
    return _sound("clock", f"{now:%Y-%m-%d %H:%M} UTC, after the newest record")


def _photos(database: Soundness, folder: Path) -> Looked:
    lost, changed = [], []
    kept = database.photos()
    for name, size in kept.items():
        path = photo_path(folder, name)
        if size < 0 or not path.is_file():
            lost.append(name[:12])
        elif hashlib.sha256(path.read_bytes()).hexdigest() != name:
            changed.append(name[:12])
    if not lost and not changed:
        return _sound("photos", f"{len(kept)}, each as it was kept")
    seen = [
        f"{what}: {_named(rows)}" for what, rows in (("gone", lost), ("changed", changed)) if rows
    ]
    return _wrong("photos", "; ".join(seen), "bring the photos back from the last good backup")


def _index(place: Place) -> Looked:
    """Hold the kept index and what was learned against the store; both are made anew at need."""
    with open_store(place.url, home=place.home) as store, store.read() as unit:
        last, words = last_rebuild(unit), words_of(unit)
        found = _kept_index(place, last.stamp(altitude_m=place.altitude_m, terms=words.shop.mark))
        fits = found is not None and found.comes_before(unit)
        behind = found is not None and found.state != unit.state()
    if last.learned and read_learned(place.home / LEARNED, key=last.name) is None:
        seen = "what was learned from the closed jobs is gone, damaged or another shop's; not used"
        return _look("kept index", seen, "run baybook rebuild")
    if not fits:
        return _sound("kept index", "none of these records; the next answer makes it anew")
    if behind:
        return _sound("kept index", "of a little while ago; the newest cases are laid over it")
    return _sound("kept index", "fits the records")


def _kept_index(place: Place, stamp: Mapping[str, object]) -> Source | None:
    """Return from what the kept index was fitted, None where there is none to be used."""
    kept = read_snapshot(place.home / SNAPSHOT, stamp)
    return None if kept is None else Source(**kept.source["read"])


# --- around the database ---------------------------------------------------------------------------


def _around(place: Place, now: datetime) -> tuple[Looked, ...]:
    file = sqlite_file(place.url)
    marked = marked_place(file, place.home)
    return (
        *((_log(file),) if file is not None else ()),
        *((_backup(marked, now),) if marked is not None else ()),
        _room(place.home, file),
        _rights(place.home, file),
    )


def _log(file: Path) -> Looked:
    size = log_bytes(file)
    if size <= LONG_LOG:
        return _sound("log beside the database", f"{size / 1e6:.1f} MB")
    seen = f"{size / 1e6:.0f} MB: some program has been reading for long and holds it back"
    to_do = (
        "end copies, exports and programs that hold the database open; it then shrinks by itself"
    )
    return _look("log beside the database", seen, to_do)


def _backup(marked: Path, now: datetime) -> Looked:
    path = last_backup(marked)
    made = read_name(path) if path is not None else None
    if made is None:
        return _look("last backup", "none found", "run baybook backup, best to another disk")
    seen = f"{made.path}, of {made.made:%Y-%m-%d %H:%M} UTC"
    if now - made.made > BACKUP_AGE:
        return _look("last backup", seen, "run baybook backup, and see why the nightly one fails")
    return _sound("last backup", seen)


def _room(home: Path, file: Path | None) -> Looked:
    """Look at the free room: a backup and an upgrade need the database's size again."""
    free = shutil.disk_usage(home).free
    wanted = ROOM_LOW + 2 * (file.stat().st_size if file is not None and file.is_file() else 0)
    seen = f"{free / 1e9:.1f} GB free"
    to_do = "make room: move old backups to another disk, delete what is not the shop's"
    if free < ROOM_NONE:
        return _wrong("room on the disk", seen, to_do)
    if free < wanted:
        return _look("room on the disk", f"{seen}, {wanted / 1e9:.1f} GB wanted", to_do)
    return _sound("room on the disk", seen)


def _rights(home: Path, file: Path | None) -> Looked:
    """Look at who may read and write: the program must, others must not."""
    paths = [path for path in (home, file, home / "form.key") if path is not None and path.exists()]
    closed = [str(path) for path in paths if not os.access(path, os.R_OK | os.W_OK)]
    if closed:
        seen = f"this user may not read and write {_named(closed)}"
        return _wrong(
            "rights of the files", seen, "give the folder to the user who runs the program"
        )
    open_to = [path.name for path in paths if _too_open(path)]
    if open_to:
        seen = f"others on this machine may write, or read the key: {_named(open_to)}"
        return _look("rights of the files", seen, f"run chmod -R go-rwx {home}")
    return _sound("rights of the files", "this user alone writes")


def _too_open(path: Path) -> bool:
    mode = stat.S_IMODE(path.stat().st_mode)
    forbidden = 0o077 if path.suffix == ".key" else 0o022
    return os.name == "posix" and bool(mode & forbidden)
