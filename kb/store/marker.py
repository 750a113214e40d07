"""A small file beside the database that remembers the shop, so that a lost one is noticed.

SQLite makes an empty database of a missing file, and takes a file of no bytes for a sound empty
one. Beside a marker, neither is taken for a new shop, nor another shop's file, nor an old copy.
That of a database on a server lies in the shop's folder.
"""

import json
from contextlib import suppress
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Final
from uuid import uuid4

from sqlalchemy import Connection, func, insert, select

from kb.errors import StoreError
from kb.store.backup_files import FOLDER, newest_backup, write_whole
from kb.store.tables import SCHEMA_REVISION, HistoryRow, JobRow, SettingRow

# The setting that names the shop; copies of its database share it.
SHOP: Final = "shop id"
# Stands for a database on a server where its marker lies; no file has this name.
SERVER: Final = "server"


@dataclass(frozen=True, slots=True, kw_only=True)
class Marker:
    """What the database held when it was last noted; each is None where that is not known.

    Parameters
    ----------
    shop : str
        The shop's id, 32 hexadecimal digits.
    schema : str
        The revision of its tables.
    jobs, seq : int
        How many jobs it held, and the number of its newest line of history.
    backup : str
        Where the newest backup was written.
    """

    shop: str | None = None
    schema: str | None = None
    jobs: int | None = None
    seq: int | None = None
    backup: str | None = None


def marked_place(file: Path | None, home: Path | None) -> Path | None:
    """Return what the marker lies beside: a database's file, else a name in the shop's folder."""
    return home / SERVER if file is None and home is not None else file


def named(place: Path) -> str:
    """Return how a message names the database of a marker."""
    return "the database that BAYBOOK_DB names" if place.name == SERVER else str(place)


def marker_file(database: Path) -> Path:
    """Return the marker's place beside a database."""
    return database.with_name(f"{database.name}.marker")


def read_marker(database: Path) -> Marker | None:
    """Return the marker beside a database, None without one; a damaged one says nothing."""
    try:
        text = marker_file(database).read_text(encoding="utf-8")
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError):
        return Marker()
    with suppress(ValueError):
        found = json.loads(text)
        if isinstance(found, dict):
            return _marker(found)
    return Marker()


def _marker(found: dict[str, object]) -> Marker:
    kinds = {"jobs": int, "seq": int}
    known = {
        field.name: value
        for field in fields(Marker)
        if type(value := found.get(field.name)) is kinds.get(field.name, str)
    }
    return Marker(**known)  # type: ignore[arg-type] # each was held against its kind


def write_marker(database: Path, marker: Marker) -> None:
    """Write the marker beside a database; without ``backup`` the one that was known stays."""
    before = read_marker(database)
    found = asdict(marker)
    if found["backup"] is None and before is not None:
        found["backup"] = before.backup
    write_whole(marker_file(database), json.dumps(found, indent=1) + "\n")


def present(connection: Connection) -> Marker:
    """Return what a marker of the database as it stands now would say."""
    return Marker(
        shop=connection.scalar(select(SettingRow.value).where(SettingRow.key == SHOP)),
        schema=SCHEMA_REVISION,
        jobs=connection.scalar(select(func.count()).select_from(JobRow)) or 0,
        seq=connection.scalar(select(func.max(HistoryRow.seq))) or 0,
    )


def name_shop(connection: Connection) -> str:
    """Return the shop's id; a shop without one gets it now."""
    known = connection.scalar(select(SettingRow.value).where(SettingRow.key == SHOP))
    if known is None:
        known = uuid4().hex
        connection.execute(insert(SettingRow).values(key=SHOP, value=known))
    return known


def refuse_lost(database: Path) -> None:
    """Refuse a missing or empty database where a shop was before; a folder of no shop passes.

    Raises
    ------
    StoreError
        If a marker, a backup or an empty file shows that a shop was here; names the newest backup.
    """
    there = database.is_file()
    if there and database.stat().st_size:
        return
    marker, backup = read_marker(database), last_backup(database)
    if not there and marker is None and backup is None:
        return
    got = "an empty file" if there else "no file"
    held = f" with {marker.jobs} jobs" if marker is not None and marker.jobs else ""
    raise StoreError(
        f"expected the shop's records{held} in {database}, got {got}; "
        f"{how_to_restore(database)}, or run baybook init --begin-anew to begin an empty shop"
    )


def refuse_gone(place: Path, got: str) -> None:
    """Refuse a database on a server that is missing or empty where a marker tells of a shop.

    Parameters
    ----------
    place : Path
        What its marker lies beside.
    got : str
        What was found.

    Raises
    ------
    StoreError
        If there is a marker; names the newest backup.
    """
    marker = read_marker(place)
    if marker is None:
        return
    held = f" with {marker.jobs} jobs" if marker.jobs else ""
    raise StoreError(
        f"expected the shop's records{held} in {named(place)}, got {got}; look at BAYBOOK_DB, or "
        f"{how_to_restore(place)}, or run baybook init --begin-anew to begin an empty shop"
    )


def refuse_other(database: Path, found: Marker) -> None:
    """Refuse a database that is not the one that the marker tells of, or an earlier copy of it.

    Parameters
    ----------
    database : Path
        The file.
    found : Marker
        What it holds, from ``present``.

    Raises
    ------
    StoreError
        If it belongs to another shop, or holds less than it did; names the newest backup.
    """
    marker = read_marker(database)
    if marker is None or marker.shop is None:
        return
    if found.shop != marker.shop:
        got = "that of another shop"
    elif (found.seq or 0) < (marker.seq or 0):
        got = f"an earlier state of it ({found.seq} of {marker.seq} lines of history)"
    else:
        return
    raise StoreError(
        f"expected the shop's own database in {named(database)}, got {got}; "
        f"{how_to_restore(database)}, or run baybook init --take-this if this one is right"
    )


def last_backup(database: Path) -> Path | None:
    """Return the newest backup that is known of a database, None where none is found."""
    marker = read_marker(database)
    if marker is not None and marker.backup is not None:
        noted = Path(marker.backup)
        newer = newest_backup(noted.parent, marker.shop)
        if newer is not None:
            return newer.path
    beside = newest_backup(database.parent / FOLDER)
    return None if beside is None else beside.path


def how_to_restore(database: Path) -> str:
    """Return what to run to get the shop back, with the newest backup by name."""
    newest = last_backup(database)
    if newest is None:
        return "restore a backup with baybook restore FILE"
    return f"restore the newest backup with baybook restore {newest}"
