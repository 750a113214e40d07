"""A backup as one file: a zip of the database and of what it must hold, each with its hash."""

import hashlib
import json
import zlib
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import IO, Any, Final
from zipfile import ZIP_DEFLATED, BadZipFile, LargeZipFile, ZipFile

from kb.errors import StoreError
from kb.store.backup_files import sync_file
from kb.store.copies import Described
from kb.store.engine import DATABASE

# The number of this layout; one that is not known is refused.
FORMAT: Final = 1
MANIFEST: Final = "manifest.json"
# What pg_dump made of a database on a server.
DUMP: Final = "baybook.dump"
_BLOCK: Final = 1 << 20
# Deflate's fastest: 100,000 cases are packed in seconds and take a fifth of their room (our choice).
_LEVEL: Final = 1
# A manifest lists photos, about 80 bytes each: this is 800,000 of them (our choice).
_MOST_MANIFEST: Final = 64_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """What a backup holds.

    Parameters
    ----------
    made : str
        When, as ISO 8601 in UTC.
    holds : Described
        Counts and hashes of the database.
    size_bytes, sha256
        Of the database's file.
    schema_name : str
        The schema of PostgreSQL that its tables lie in; empty for a database of SQLite.
    unverified : str
        Why the backup was not tried by restoring it; empty where it was.
    """

    made: str
    holds: Described
    size_bytes: int
    sha256: str
    schema_name: str = ""
    unverified: str = ""

    @property
    def part(self) -> str:
        """The name of the database in the backup: a file of SQLite, or what pg_dump made."""
        return DUMP if self.schema_name else DATABASE


def hash_of(file: Path) -> str:
    """Return the SHA-256 of a file in hexadecimal digits."""
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def pack(database: Path, manifest: Manifest, target: Path) -> None:
    """Write a backup to ``target`` and wait until it lies on the disk; only its owner reads it."""
    text = json.dumps({"format": FORMAT, **asdict(manifest)}, ensure_ascii=False)
    target.touch(mode=0o600)
    with ZipFile(target, "w", compression=ZIP_DEFLATED, compresslevel=_LEVEL) as archive:
        archive.writestr(MANIFEST, text)
        archive.write(database, manifest.part)
    sync_file(target)


def read_manifest(file: Path) -> Manifest:
    """Return what a backup says of itself.

    Raises
    ------
    StoreError
        If it is no backup, a damaged one, or one of a newer program.
    """
    try:
        with ZipFile(file) as archive:
            return _manifest(archive)
    except _DAMAGED as error:
        raise _no_backup(file, f"another or a damaged file ({error})") from error


# What the reader of zip files raises on one that is damaged, lacks a part, or claims to be locked
# or packed in another way.
_DAMAGED: Final = (
    BadZipFile, LargeZipFile, zlib.error, EOFError, RuntimeError, ValueError, TypeError, LookupError,
)  # fmt: skip


def _manifest(archive: ZipFile) -> Manifest:
    if archive.getinfo(MANIFEST).file_size > _MOST_MANIFEST:
        raise ValueError("a list of parts that is too long")
    found: dict[str, Any] = json.loads(archive.read(MANIFEST))
    if found.pop("format", None) != FORMAT:
        raise ValueError("another layout; use the program that wrote it")
    holds = found.pop("holds")
    photos = tuple((str(name), int(size)) for name, size in holds.pop("photos"))
    return Manifest(**found, holds=Described(**holds, photos=photos))


def _no_backup(file: Path, got: str) -> StoreError:
    return StoreError(f"expected a whole backup in {file}, got: {got}; take another backup")


def unpack(file: Path, folder: Path) -> Manifest:
    """Write a backup's database into ``folder`` and hold it against its hash.

    Only the one part that is known is taken, never by the name that stands in the file.

    Raises
    ------
    StoreError
        If it is no backup, or a damaged one.
    """
    manifest = read_manifest(file)
    target = folder / manifest.part
    try:
        with (
            ZipFile(file) as archive,
            archive.open(manifest.part) as packed,
            target.open("xb") as out,
        ):
            target.chmod(0o600)
            got = _copy(packed, out, most=manifest.size_bytes)
    except _DAMAGED as error:
        raise _no_backup(file, f"another or a damaged file ({error})") from error
    if got != manifest.sha256:
        raise _no_backup(file, "a database with another hash than it was packed with")
    sync_file(target)
    return manifest


def _copy(source: IO[bytes], target: IO[bytes], *, most: int) -> str:
    """Copy at most ``most`` bytes and return their SHA-256; more are refused as they come."""
    digest, size = hashlib.sha256(), 0
    while block := source.read(_BLOCK):
        size += len(block)
        if size > most:
            raise ValueError("a longer database than was packed")
        digest.update(block)
        target.write(block)
    return digest.hexdigest()
