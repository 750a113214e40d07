"""Photos copied between the shop and its backups: each once, by its hash, and read again in turn."""

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from kb.store.photo_files import photo_path, write_photo

# Photos lie here, in the shop's folder and beside its backups.
PHOTOS: Final = "photos"
# Each backup reads one of so many parts of the photos kept before, so that a week of nights has
# read them all (our choice).
PARTS: Final = 7


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotosKept:
    """What became of the photos: copied now, there already, and hashes of those without a file."""

    copied: int
    known: int
    missing: tuple[str, ...]


def copy_photos(
    hashes: Iterable[str], source: Path, target: Path, *, read_part: int | None = None
) -> PhotosKept:
    """Copy the photos of those hashes from one folder of photos into another.

    A photo whose bytes no longer have its hash counts as missing and is never copied.

    Parameters
    ----------
    hashes : iterable of str
        SHA-256 of each photo, in hexadecimal digits.
    source, target : Path
        Folders of photos.
    read_part : int, optional
        The part, from 0 to 6, of what is there already that is read and held against its hash;
        one that fails is copied anew. None reads all.
    """
    copied, known, missing = 0, 0, []
    for name in hashes:
        path = photo_path(target, name)
        unread = read_part is not None and int(name[:8], 16) % PARTS != read_part % PARTS
        if path.is_file() and (unread or _sound(path, name) is not None):
            known += 1
            continue
        data = _sound(photo_path(source, name), name)
        if data is None:
            missing.append(name)
            continue
        write_photo(path, data)
        copied += 1
    return PhotosKept(copied=copied, known=known, missing=tuple(missing))


def _sound(path: Path, name: str) -> bytes | None:
    """Return the bytes of a photo, None where there is no file or they have another hash."""
    try:
        data = path.read_bytes()
    except OSError:
        return None
    return data if hashlib.sha256(data).hexdigest() == name else None
