"""A shop brought back from a backup: checked before anything moves, the old state kept aside."""

import sqlite3
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from sqlalchemy import Connection, delete, update

from kb.errors import StoreError
from kb.store.archive import Manifest, unpack
from kb.store.backup_files import sync_folder
from kb.store.copies import check_copy, describe
from kb.store.engine import DATABASE, default_url, open_store, sqlite_file
from kb.store.journal import bump_generation, leave_numbers, renew_state
from kb.store.kept_photos import PHOTOS, PhotosKept, copy_photos
from kb.store.marker import Marker, marker_file, read_marker, refuse_lost, write_marker
from kb.store.migrate import make_new, schema_revision, upgrade
from kb.store.shop_tables import ApiTokenRow, FailedSignInRow, SessionRow, SignInLinkRow
from kb.store.tables import SCHEMA_REVISION, SettingRow

# The verb of the line that a restore writes into the history.
RESTORED: Final = "restore"
# Numbers that the lost state may have given out since the backup, left out so that none is given
# twice: lines of history and jobs (our choice; more than a shop writes between two backups).
LEFT_LINES: Final = 100_000
LEFT_JOBS: Final = 1_000
# Settings that tell when this copy was kept last, which is not so for one that came back.
BEGUN: Final = "backup begun"
DONE: Final = "backup done"
# SQLite's own files beside a database.
_BESIDE: Final = ("-wal", "-shm", "-journal")


@dataclass(frozen=True, slots=True, kw_only=True)
class Restored:
    """What came back: the backup, its photos, jobs not as written, and where the old state lies.

    ``schema`` names that of the old tables on a server.
    """

    manifest: Manifest
    photos: PhotosKept
    damaged: tuple[str, ...]
    aside: Path | None
    tokens: int
    schema: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """How to restore: over a shop that is there, with damaged cases, and what else goes aside.

    ``derived`` names files in the shop's folder that are made from the jobs.
    """

    replace: bool = False
    damaged: bool = False
    derived: Sequence[str] = ()


def restore(file: Path, url: str, *, who: str, at: datetime, wish: Wish) -> Restored:
    """Bring a shop back from a backup.

    The backup is unpacked beside the shop, held against its hashes, brought up to the present
    schema and every case hashed again. Only then the old database is put aside, and nothing of it
    is deleted. Who was signed in must sign in again, and programs need new tokens: one that was
    revoked since the backup would work again.

    Parameters
    ----------
    file : Path
        A backup; its photos lie in the folder ``photos`` beside it.
    url : str
        The shop's database, in a file.
    who : str
        Stands in the history.
    at : datetime
        Now, with a zone.
    wish : Wish
        What is allowed.

    Raises
    ------
    StoreError
        If a shop is there and ``replace`` was not said, another program has it open, or the
        backup is not sound.
    """
    database = _target(url)
    _refuse_overwriting(database, wish)
    home = database.parent
    home.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=home, prefix=".restoring-") as scratch:
        manifest = unpack(file, Path(scratch))
        if manifest.schema_name:
            raise StoreError(
                f"expected the backup of a database in a file, got that of a server in {file}; "
                "restore it where BAYBOOK_DB names an empty one, then run baybook move"
            )
        made = Path(scratch) / DATABASE
        if describe(made) != manifest.holds:
            raise StoreError(f"expected what {file} says it holds, got another; take another")
        before = read_marker(database)
        damaged, tokens = make_ready(
            default_url(made.parent),
            lambda: check_copy(made),
            who=who, at=at, wish=wish, seen=(before.seq if before else None) or 0,
        )  # fmt: skip
        names = [name for name, _ in manifest.holds.photos]
        photos = copy_photos(names, file.parent / PHOTOS, home / PHOTOS)
        found = describe(made)
        with closed_to_others(database):
            aside = put_aside(database, at=at, why="before-restore", others=wish.derived)
            # The marker first: a folder where only the database is missing is never a new shop.
            marker = Marker(
                shop=found.shop or None,
                schema=found.schema,
                jobs=found.tables["jobs"],
                seq=found.seq,
                backup=str(file.resolve()),
            )
            write_marker(database, marker)
            made.replace(database)
            sync_folder(home)
    return Restored(manifest=manifest, photos=photos, damaged=damaged, aside=aside, tokens=tokens)


def begin_anew(url: str, *, at: datetime, derived: Sequence[str] = ()) -> Path | None:
    """Make an empty shop in a place where one was; return where the old state lies, if any.

    Photos and backups stay where they are.

    Raises
    ------
    StoreError
        If another program has the old database open.
    """
    database = _target(url)
    database.parent.mkdir(parents=True, exist_ok=True)
    with closed_to_others(database):
        aside = put_aside(database, at=at, why="before-anew", others=derived)
    marker_file(database).unlink(missing_ok=True)
    make_new(database)
    return aside


def take_as_it_is(url: str) -> None:
    """Let the database that lies there be the shop's, though the marker tells of another.

    Raises
    ------
    StoreError
        If no database is there, or an empty file.
    """
    database = _target(url)
    refuse_lost(database)
    if not database.is_file():
        raise StoreError(f"expected a shop's database at {database}, got no file; run baybook init")
    marker_file(database).unlink(missing_ok=True)


def _target(url: str) -> Path:
    database = sqlite_file(url)
    if database is None:
        raise StoreError("expected a database in a file, got one on a server; look at BAYBOOK_DB")
    return database


def _refuse_overwriting(database: Path, wish: Wish) -> None:
    if wish.replace or not database.is_file() or not database.stat().st_size:
        return
    raise StoreError(
        f"expected no shop in {database.parent}, got one; add --replace to put it aside and take "
        "the backup instead"
    )


def make_ready(
    url: str,
    check: Callable[[], tuple[str, ...]],
    *,
    who: str,
    at: datetime,
    wish: Wish,
    seen: int,
) -> tuple[tuple[str, ...], int]:
    """Bring a copy up to date, check its cases, and make it a shop that goes on from there.

    Parameters
    ----------
    url : str
        The copy.
    check : callable
        Returns the ids of its jobs that are not as written.
    who, at, wish
        As of ``restore``.
    seen : int
        The highest number of a line of history that is known of the lost state.

    Returns the ids of the jobs that are not as written, and how many tokens were revoked.

    Raises
    ------
    StoreError
        If some are not as written and that was not allowed.
    """
    damaged = check()
    if schema_revision(url) != SCHEMA_REVISION:
        upgrade(url)
        damaged = check()
    if damaged and not wish.damaged:
        raise StoreError(
            f"expected every case as it was written, got {len(damaged)} that are not "
            f"({', '.join(damaged[:5])}); take an older backup, or add --damaged to take this one"
        )
    with open_store(url) as store, store.write(who, at) as unit:
        tokens = _go_on(unit.connection, at, seen=seen)
        unit.history.add(RESTORED, None, "")
    return damaged, tokens


def _go_on(connection: Connection, at: datetime, *, seen: int) -> int:
    """Renew what must not be the same as before; return how many tokens were revoked."""
    for table in (SessionRow, SignInLinkRow, FailedSignInRow):
        connection.execute(delete(table))
    alive = ApiTokenRow.revoked.is_(None)
    revoked = connection.execute(update(ApiTokenRow).where(alive).values(revoked=at))
    connection.execute(delete(SettingRow).where(SettingRow.key.in_((BEGUN, DONE))))
    leave_numbers(connection, at, seen=seen, lines=LEFT_LINES, jobs=LEFT_JOBS)
    bump_generation(connection)
    renew_state(connection)
    return revoked.rowcount


@contextmanager
def closed_to_others(database: Path) -> Iterator[None]:
    """Hold a database so that no other program has it open or opens it.

    Leaving the log behind needs the file for oneself, so a server that runs on it is noticed; the
    log's pages are in the file afterwards. A file that is too damaged for that is held by nobody.

    Raises
    ------
    StoreError
        If another program has it open.
    """
    if not database.is_file() or not database.stat().st_size:
        yield
        return
    with closing(sqlite3.connect(database, timeout=1.0, isolation_level=None)) as connection:
        try:
            connection.execute("PRAGMA journal_mode=DELETE")
            connection.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as error:
            if "locked" in str(error):
                raise StoreError(
                    f"expected {database} for this command alone, got another program that has it "
                    "open; end baybook serve, then try again"
                ) from error
        except sqlite3.DatabaseError:
            # Damaged beyond opening: it goes aside as it lies there.
            pass
        yield


def put_aside(database: Path, *, at: datetime, why: str, others: Sequence[str] = ()) -> Path | None:
    """Move a database and what SQLite keeps beside it into a folder of its own.

    Its marker is copied there and stays, so that the place never looks like that of no shop.

    Parameters
    ----------
    database : Path
        The file; None is returned where nothing of it is there.
    at : datetime
        Now, with a zone.
    why : str
        The folder's name begins with it.
    others : sequence of str
        Names of more files in the same folder that go along.
    """
    names = (database.name, *(f"{database.name}{end}" for end in _BESIDE), *others)
    there = [path for name in names if (path := database.with_name(name)).exists()]
    if not there:
        return None
    stamp = at.astimezone(UTC).strftime("%Y%m%d-%H%M%SZ")
    aside = Path(tempfile.mkdtemp(dir=database.parent, prefix=f"{why}-{stamp}-"))
    marker = marker_file(database)
    if marker.is_file():
        (aside / marker.name).write_bytes(marker.read_bytes())
    for path in there:
        path.replace(aside / path.name)
    sync_folder(database.parent)
    return aside
