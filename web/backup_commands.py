"""The commands that make a shop, keep it and bring it back; nothing that was there is deleted."""

import os
import time
from datetime import UTC, datetime
from getpass import getuser
from pathlib import Path
from typing import Final

import click

from kb.store.archive import read_manifest
from kb.store.backup import Backup, make_backup
from kb.store.backup_files import BackupFile, backups_in
from kb.store.engine import open_store, sqlite_file
from kb.store.migrate import upgrade
from kb.store.restore import Restored, Wish, begin_anew, restore, take_as_it_is
from kb.store.server_restore import (
    begin_anew_on_server,
    restore_on_server,
    take_server_as_it_is,
)
from kb.workflow.kept_features import FEATURES
from kb.workflow.memory import LEARNED, SNAPSHOT
from kb.workflow.nightly import note_done
from kb.workflow.spread import SHARDS
from kb.workflow.trust import TRUST
from web.home import backups_folder, home_folder, shop_store, store_url
from web.layout import say, table
from web.report import json_line

# What is made from the jobs anew, so that it goes aside with them.
DERIVED: Final = (SNAPSHOT, FEATURES, LEARNED, TRUST, SHARDS)
_BACKUP = click.Path(exists=True, dir_okay=False, path_type=Path)
_FOLDER = click.Path(file_okay=False, path_type=Path)


@click.command()
@click.option("--begin-anew", is_flag=True, help="put what is there aside and make an empty shop")
@click.option("--take-this", is_flag=True, help="take the database as it lies there, though older")
def init(*, begin_anew: bool, take_this: bool) -> None:
    """Make an empty shop in BAYBOOK_HOME, or bring an older one up to date, backed up first."""
    home = home_folder()
    home.mkdir(parents=True, exist_ok=True)
    url = store_url(home)
    if begin_anew:
        _put_aside_and_begin(url, home)
    elif take_this:
        _take_as_it_is(url, home)
    upgrade(url, backups=backups_folder(home), home=home)
    with open_store(url, home=home) as store:
        store.mark()
    say(f"shop ready in {home}")


def _take_as_it_is(url: str, home: Path) -> None:
    if sqlite_file(url) is None:
        take_server_as_it_is(url, home)
    else:
        take_as_it_is(url)


def _put_aside_and_begin(url: str, home: Path) -> None:
    """Make an empty shop where another was, and say where the old state lies."""
    at = datetime.now(UTC)
    aside: Path | str | None
    if sqlite_file(url) is None:
        schema = begin_anew_on_server(url, home=home, at=at, derived=DERIVED)
        aside = None if schema is None else f"the schema {schema} of the same database"
    else:
        aside = begin_anew(url, at=at, derived=DERIVED)
    if aside is not None:
        say(f"what was there lies in {aside}")


@click.command()
@click.option("--to", "folder", type=_FOLDER, help="a folder, better on another disk")
@click.option("--list", "listing", is_flag=True, help="list the backups that are there")
@click.option("--json", "as_json", is_flag=True, help="one JSON object")
@click.option("--unhurried", is_flag=True, hidden=True, help="let other programs go first")
def backup(folder: Path | None, *, listing: bool, as_json: bool, unhurried: bool) -> None:
    """Keep the shop in a backup while it goes on: checked by restoring it, older ones thinned."""
    home = home_folder()
    usual = backups_folder(home)
    to = folder or usual
    if listing:
        _list(to, as_json=as_json)
        return
    if unhurried and hasattr(os, "nice"):
        os.nice(10)
    started = time.monotonic()
    with shop_store() as store:
        # The id of the shop stands in the name of its backups.
        store.mark()
    made = make_backup(store_url(home), to, home=home, at=datetime.now(UTC))
    with shop_store() as store:
        store.mark(backup=made.path)
        if to == usual:
            note_done(store, datetime.now(UTC), who=getuser())
    seconds = time.monotonic() - started
    say(json_line(_json(made)) if as_json else "\n".join(_made_lines(made, seconds)))


def _json(made: Backup) -> dict[str, object]:
    return {
        "backup": str(made.path),
        "jobs": made.manifest.holds.tables["jobs"],
        "photos": made.photos.copied + made.photos.known,
        "photos_without_file": list(made.photos.missing),
        "older_taken_away": made.gone,
        "unverified": made.manifest.unverified or None,
    }


def _made_lines(made: Backup, seconds: float) -> list[str]:
    holds, photos = made.manifest.holds, made.photos
    lines = [
        f"kept {holds.tables['jobs']} jobs and {photos.copied + photos.known} photos in {made.path}",
        f"{_tried(made)}, in {seconds:.1f} s",
    ]
    if made.gone:
        lines.append(f"older backups taken away: {made.gone}")
    return [*lines, *_missing_lines(photos.missing)]


def _tried(made: Backup) -> str:
    """Return how the backup was checked; one that was not restored is never told as one that was."""
    if made.manifest.unverified:
        return f"{made.manifest.unverified}; every case checked in the shop itself"
    return "restored beside the shop and every case checked"


def _missing_lines(missing: tuple[str, ...]) -> list[str]:
    if not missing:
        return []
    some = ", ".join(name[:12] for name in missing[:3])
    return [f"photos without a file, or with a damaged one: {len(missing)} ({some})"]


def _list(folder: Path, *, as_json: bool) -> None:
    rows = backups_in(folder)
    if as_json:
        say(json_line({"backups": [_row_json(row) for row in rows]}))
        return
    if not rows:
        say(f"no backup in {folder}")
        return
    head = ("made (UTC)", "MB", "cases", "file")
    for line in table([head, *map(_row, rows)], widths=(20, 8, 18, 60)):
        say(line)


def _row(row: BackupFile) -> tuple[str, ...]:
    size = f"{row.path.stat().st_size / 1_000_000:.1f}"
    sound = "some damaged" if row.damaged else "as written"
    return (f"{row.made:%Y-%m-%d %H:%M:%S}", size, sound, row.path.name)


def _row_json(row: BackupFile) -> dict[str, object]:
    return {
        "file": str(row.path),
        "made": row.made.isoformat(),
        "bytes": row.path.stat().st_size,
        "damaged": row.damaged,
    }


@click.command("restore")
@click.argument("file", type=_BACKUP)
@click.option("--replace", is_flag=True, help="put the shop that is there aside, take this instead")
@click.option("--damaged", is_flag=True, help="take it though some cases are not as written")
def restore_command(file: Path, *, replace: bool, damaged: bool) -> None:
    """Bring the shop back from the backup FILE, checked before anything moves."""
    home = home_folder()
    wish = Wish(replace=replace, damaged=damaged, derived=DERIVED)
    made = datetime.fromisoformat(read_manifest(file).made)
    say(f"checking the backup of {made:%Y-%m-%d %H:%M:%S} (UTC) ...")
    found = _restore(file, home, wish)
    with open_store(store_url(home), home=home) as store, store.read() as unit:
        jobs = unit.jobs.count()
    for line in _restored_lines(found, jobs, home):
        say(line)


def _restore(file: Path, home: Path, wish: Wish) -> Restored:
    url, at = store_url(home), datetime.now(UTC)
    if sqlite_file(url) is None:
        return restore_on_server(file, url, home=home, who=getuser(), at=at, wish=wish)
    return restore(file, url, who=getuser(), at=at, wish=wish)


def _restored_lines(found: Restored, jobs: int, home: Path) -> list[str]:
    photos = found.photos
    lines = [f"{jobs} jobs and {photos.copied + photos.known} photos are back in {home}"]
    if found.schema is not None:
        lines.append(f"the tables that were there lie in the schema {found.schema}")
    if found.aside is not None:
        lines.append(f"what was there lies in {found.aside}")
    if found.damaged:
        lines.append(f"not as written: {', '.join(found.damaged[:5])} ({len(found.damaged)} jobs)")
    lines += _missing_lines(photos.missing)
    lines.append("everybody signs in again")
    if found.tokens:
        lines.append(f"programs need new tokens: {found.tokens} were revoked")
    lines.append("run baybook rebuild, so that the answers learn from these jobs again")
    return lines
