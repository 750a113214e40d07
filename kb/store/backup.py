"""A backup of the shop: written aside, restored and checked, and only then given its name."""

import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from kb.errors import StoreError
from kb.store.archive import DUMP, Manifest, hash_of, pack, unpack
from kb.store.backup_files import (
    NAMELESS,
    backups_in,
    free_name,
    read_name,
    superfluous,
    sync_folder,
)
from kb.store.copies import check_copy, copy_sqlite, describe
from kb.store.engine import DATABASE, sqlite_file
from kb.store.kept_photos import PHOTOS, PhotosKept, copy_photos
from kb.store.server_copies import Dumped, dump_and_check

_MAKING: Final = ".making-"
# A scratch folder that nobody wrote into for a day was left by a backup that was killed (our choice).
_LEFT_S: Final = 86_400.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Backup:
    """A backup that was made: its file, what it holds, its photos, and how many older ones went."""

    path: Path
    manifest: Manifest
    photos: PhotosKept
    gone: int


def make_backup(url: str, folder: Path, *, home: Path, at: datetime) -> Backup:
    """Keep the shop in ``folder`` while others work: its database as one file, its photos beside.

    The file is restored into a scratch folder and every case hashed again before it gets its name;
    that of a server into another database there, or it says that its role may not make one.
    Older backups of this shop go by the rule of ``superfluous``, but never for one that is damaged.
    Left out: who is signed in, the key of the forms, and what is made from the jobs anew.

    Parameters
    ----------
    url : str
        The shop's database.
    folder : Path
        Where its backups lie; another disk is better than the same.
    home : Path
        The shop's folder, with its photos.
    at : datetime
        Now, with a zone.

    Raises
    ------
    StoreError
        If the database cannot be copied, or the copy is not sound; a copy with damaged cases is
        kept under a name that says so, and older backups stay.
    """
    folder.mkdir(parents=True, exist_ok=True, mode=0o700)
    with _scratch(folder) as scratch:
        kept = _keep(url, scratch)
        photos = copy_photos(
            [name for name, _ in kept.holds.photos],
            home / PHOTOS,
            folder / PHOTOS,
            read_part=at.toordinal(),
        )
        manifest = Manifest(
            made=at.astimezone(UTC).isoformat(timespec="seconds"),
            holds=kept.holds,
            size_bytes=kept.copy.stat().st_size,
            sha256=hash_of(kept.copy),
            schema_name=kept.schema_name,
            unverified=kept.unverified,
        )
        made = scratch / "made.zip"
        pack(kept.copy, manifest, made)
        wrong = kept.wrong or _try_out(made, manifest, scratch)
        path = free_name(folder, kept.holds.shop or NAMELESS, at, damaged=bool(wrong))
        made.replace(path)
        sync_folder(folder)
    if wrong:
        _drop_damaged(folder, path)
        raise _damaged(path, wrong)
    return Backup(path=path, manifest=manifest, photos=photos, gone=_rotate(folder, path, at))


@contextmanager
def _scratch(folder: Path) -> Iterator[Path]:
    """Yield a folder on the same disk that is gone afterwards; so are those of killed backups."""
    for left in folder.glob(f"{_MAKING}*"):
        if time.time() - left.stat().st_mtime > _LEFT_S:
            shutil.rmtree(left, ignore_errors=True)
    with tempfile.TemporaryDirectory(dir=folder, prefix=_MAKING) as scratch:
        yield Path(scratch)


def _keep(url: str, scratch: Path) -> Dumped:
    """Copy the database: one of a file is checked when it is packed, one of a server at once."""
    file = sqlite_file(url)
    if file is None:
        return dump_and_check(url, scratch / DUMP)
    copy = scratch / DATABASE
    copy_sqlite(file, copy)
    return Dumped(copy=copy, holds=describe(copy))


def _try_out(made: Path, manifest: Manifest, scratch: Path) -> tuple[str, ...]:
    """Unpack a backup beside the shop, hold it against what it should hold, hash every case.

    Returns the ids of jobs that are no longer as they were written. A dump of a server was held
    against its shop before it was packed, so that its hash is enough here.
    """
    again = scratch / "again"
    again.mkdir()
    same = unpack(made, again) == manifest
    if manifest.schema_name:
        wrong: tuple[str, ...] = ()
    else:
        same = same and describe(again / DATABASE) == manifest.holds
        wrong = check_copy(again / DATABASE) if same else ()
    if not same:
        raise StoreError(
            "nothing was kept; expected a backup that holds what the shop holds, got another; "
            "look at the disk, then run baybook backup again"
        )
    return wrong


def _damaged(path: Path, wrong: tuple[str, ...]) -> StoreError:
    return StoreError(
        f"expected every case as it was written, got {len(wrong)} that are not "
        f"({', '.join(wrong[:5])}); a copy is kept as {path.name}, older backups stay; "
        "run baybook doctor"
    )


def _drop_damaged(folder: Path, newest: Path) -> None:
    """Keep one damaged copy of a shop alone: every night makes another until it is put right."""
    made = read_name(newest)
    for row in backups_in(folder, made.shop if made else None):
        if row.damaged and row.path != newest:
            row.path.unlink(missing_ok=True)


def _rotate(folder: Path, newest: Path, at: datetime) -> int:
    """Take away the backups of the same shop that others have taken the place of; count them."""
    made = read_name(newest)
    mine = backups_in(folder, made.shop if made else None)
    gone = [row for row in superfluous(mine, now=at) if row.path != newest]
    for row in gone:
        row.path.unlink(missing_ok=True)
    return len(gone)
