"""Backups in a folder: their names, which is the newest, and which go when others have come.

A backup is one file. The photos of all backups of a folder lie beside them, each once.
"""

import os
import re
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

# The folder of backups beside the shop's database, where no other was named.
FOLDER: Final = "backups"
# How many stay: the latest, whenever they were made, and the newest of each of so many days, weeks and months that have one (our choice;
# a damage that nobody sees for a year is still behind the oldest).
LATEST: Final = 3
DAYS: Final = 7
WEEKS: Final = 4
MONTHS: Final = 12
# Stands in a name for the id of a shop that has none yet.
NAMELESS: Final = "00000000"
_NAME: Final = re.compile(
    r"baybook-([0-9a-f]{8})-([0-9]{8}-[0-9]{6})Z(?:-([0-9]{1,4}))?(-damaged)?\.zip"
)
_STAMP: Final = "%Y%m%d-%H%M%S"


@dataclass(frozen=True, slots=True, kw_only=True)
class BackupFile:
    """A backup by its name: of which shop, when it was made (UTC), and whether it was sound."""

    path: Path
    shop: str
    made: datetime
    turn: int = 1
    damaged: bool = False


def free_name(folder: Path, shop: str, made: datetime, *, damaged: bool = False) -> Path:
    """Return a name in ``folder`` that no backup has.

    Parameters
    ----------
    folder : Path
        Where the backups of the shop lie.
    shop : str
        The shop's id; its first eight digits stand in the name.
    made : datetime
        With a zone.
    damaged : bool
        Whether the backup holds cases that are no longer those that were written.
    """
    stem = f"baybook-{shop[:8]}-{made.astimezone(UTC).strftime(_STAMP)}Z"
    end = "-damaged.zip" if damaged else ".zip"
    turn, path = 1, folder / f"{stem}{end}"
    while path.exists():
        turn += 1
        path = folder / f"{stem}-{turn}{end}"
    return path


def read_name(path: Path) -> BackupFile | None:
    """Return what a file's name says, None where it is no backup's."""
    found = _NAME.fullmatch(path.name)
    if found is None:
        return None
    shop, stamp, turn, damaged = found.groups()
    try:
        made = datetime.strptime(stamp, _STAMP).replace(tzinfo=UTC)
    except ValueError:
        return None
    return BackupFile(
        path=path, shop=shop, made=made, turn=int(turn or 1), damaged=damaged is not None
    )


def backups_in(folder: Path, shop: str | None = None) -> tuple[BackupFile, ...]:
    """Return the backups in ``folder``, of one shop where its id is given, oldest first."""
    if not folder.is_dir():
        return ()
    found = [row for path in folder.iterdir() if (row := read_name(path)) is not None]
    mine = [row for row in found if shop is None or row.shop == shop[:8]]
    return tuple(sorted(mine, key=lambda row: (row.made, row.turn, row.damaged)))


def newest_backup(folder: Path, shop: str | None = None) -> BackupFile | None:
    """Return the newest sound backup in ``folder``, None where there is none."""
    sound = [row for row in backups_in(folder, shop) if not row.damaged]
    return sound[-1] if sound else None


def superfluous(rows: Sequence[BackupFile], *, now: datetime) -> tuple[BackupFile, ...]:
    """Return the backups that may go.

    The latest 3 stay, and the newest of each of 7 days, 4 weeks and 12 months.

    Days are counted by the backups that are there, not back from today, so that a month without
    any takes nothing away. One dated later than ``now`` was made while the clock was wrong: it
    neither goes nor takes the place of another.

    Parameters
    ----------
    rows : sequence of BackupFile
        Of one shop.
    now : datetime
        With a zone.
    """
    past = sorted(
        (row for row in rows if row.made <= now and not row.damaged),
        key=lambda row: (row.made, row.turn),
        reverse=True,
    )
    kept = {row.path for row in past[:LATEST]} | {
        row.path
        for most, name in ((DAYS, _day), (WEEKS, _week), (MONTHS, _month))
        for row in _newest_of_each(past, name)[:most]
    }
    return tuple(row for row in past if row.path not in kept)


def _day(row: BackupFile) -> object:
    return row.made.date()


def _week(row: BackupFile) -> object:
    return row.made.isocalendar()[:2]


def _month(row: BackupFile) -> object:
    return row.made.year, row.made.month


def _newest_of_each(
    newest_first: Iterable[BackupFile], name: Callable[[BackupFile], object]
) -> list[BackupFile]:
    by_name: dict[object, BackupFile] = {}
    for row in newest_first:
        by_name.setdefault(name(row), row)
    return list(by_name.values())


def sync_file(path: Path) -> None:
    """Wait until a file lies on the disk."""
    with path.open("rb+") as stream:
        os.fsync(stream.fileno())


def sync_folder(folder: Path) -> None:
    """Wait until the names in a folder lie on the disk, where the system can do that."""
    # Windows opens no folder, and some network disks know no sync of one.
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def take_name(made: Path, path: Path) -> bool:
    """Give a finished file its name, unless another took it meanwhile; say whether it did."""
    try:
        os.link(made, path)
    except FileExistsError:
        return False
    except OSError:
        # A disk without links, as many that are carried about.
        if path.exists():
            return False
        made.replace(path)
    sync_folder(path.parent)
    return True


def write_whole(path: Path, text: str) -> None:
    """Write a small file that is there whole or not at all, readable by its owner alone."""
    part = path.with_name(f".{path.name}.part")
    with suppress(FileNotFoundError):
        part.unlink()
    with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as stream:
        stream.write(text)
        stream.flush()
        os.fsync(stream.fileno())
    part.replace(path)
    sync_folder(path.parent)
