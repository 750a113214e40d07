"""Photos as files: made anew so that nothing but the picture is kept, named by their content.

A phone's file says where and by whom a picture was taken, and any file can claim to be a picture.
So the picture is decoded, turned upright, made smaller and written afresh; only that is kept.
"""

import hashlib
import os
import re
from contextlib import suppress
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import Final

from PIL import Image, ImageOps, UnidentifiedImageError

from kb.errors import NotFoundError, ParseError
from kb.store.faults import no_room

MEDIA_TYPE: Final = "image/jpeg"
FORMATS: Final = ("JPEG", "PNG", "WEBP")
# Checked before a pixel is decoded: a small file can claim to be huge (our choice).
MAX_PIXELS: Final = 40_000_000
# Longest side that is kept: a label stays legible, a file stays near 200 kB (our choice).
MAX_SIDE: Final = 2048
QUALITY: Final = 82
# Longest side and quality of the small picture on a page; it stays near 15 kB (our choice).
SMALL_SIDE: Final = 320
SMALL_QUALITY: Final = 65
_HASH: Final = re.compile(r"[0-9a-f]{64}")
_KINDS: Final = "send a JPEG, PNG or WebP picture (on a phone: camera format 'most compatible')"
# What the decoders raise on files that are damaged or built to hurt.
_DAMAGED: Final = (OSError, SyntaxError, ValueError, EOFError, ArithmeticError, LookupError)
_BOMB: Final = (Image.DecompressionBombError, Image.DecompressionBombWarning)


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredPhoto:
    """A photo that is kept: SHA-256 of its bytes in hex, their type and count."""

    content_hash: str
    media_type: str
    size_bytes: int


def encode_photo(data: bytes) -> bytes:
    """Return the picture in ``data`` as a new JPEG of at most 2048 px, upright, without metadata.

    Raises
    ------
    ParseError
        If it is no JPEG, PNG or WebP picture, is damaged, or claims over 40 million pixels.
    """
    if not data:
        raise ParseError(f"expected a picture, got an empty file; {_KINDS}")
    try:
        with Image.open(BytesIO(data), formats=FORMATS) as opened:
            _refuse_huge(opened)
            opened.draft("RGB", (MAX_SIDE, MAX_SIDE))
            upright = ImageOps.exif_transpose(opened)
            return _written(upright)
    except _BOMB as error:
        raise _too_large("more") from error
    except UnidentifiedImageError as error:
        raise ParseError(f"expected a picture, got a file of another kind; {_KINDS}") from error
    except _DAMAGED as error:
        raise ParseError(
            "expected a whole picture, got a damaged one; take it again, or send it again"
        ) from error


def _too_large(got: str) -> ParseError:
    return ParseError(
        f"expected at most {MAX_PIXELS // 1_000_000} million pixels, got {got}; "
        "send the picture smaller"
    )


def _refuse_huge(image: Image.Image) -> None:
    pixels = image.width * image.height
    if pixels > MAX_PIXELS:
        raise _too_large(f"{pixels / 1_000_000:.0f} million")


def _written(image: Image.Image) -> bytes:
    image.thumbnail((MAX_SIDE, MAX_SIDE))
    # Onto a fresh white sheet: comments and profiles of the old file stay behind, so does glass.
    sheet = Image.new("RGB", image.size, "white")
    if image.has_transparency_data:
        seen = image.convert("RGBA")
        sheet.paste(seen, mask=seen.getchannel("A"))
    else:
        sheet.paste(image.convert("RGB"))
    out = BytesIO()
    sheet.save(out, "JPEG", quality=QUALITY)
    return out.getvalue()


def photo_path(folder: Path, content_hash: str) -> Path:
    """Return where a photo of that hash lies in ``folder``.

    Raises
    ------
    NotFoundError
        If it is no hash: nothing else may become part of a path.
    """
    if not _HASH.fullmatch(content_hash):
        raise NotFoundError(
            f"expected a photo's 64 digits, got '{content_hash[:80]}'; open it from its job"
        )
    return folder / content_hash[:2] / f"{content_hash}.jpg"


def keep_photo(folder: Path, data: bytes) -> StoredPhoto:
    """Make ``data`` anew and keep it in ``folder``; the same picture twice is one file.

    A file whose job was not written after all does no harm: nothing points to it.

    Raises
    ------
    ParseError
        As ``encode_photo``.
    NoRoomError
        If the disk has no room for it.
    """
    made = encode_photo(data)
    stored = StoredPhoto(
        content_hash=hashlib.sha256(made).hexdigest(), media_type=MEDIA_TYPE, size_bytes=len(made)
    )
    path = photo_path(folder, stored.content_hash)
    if not path.exists():
        try:
            write_photo(path, made)
        except OSError as error:
            raise (no_room(error) or error) from error
    return stored


def keep_as_it_is(folder: Path, data: bytes, content_hash: str) -> StoredPhoto:
    """Keep the bytes of a photo that was kept before, by this shop or another, under its hash.

    Raises
    ------
    ParseError
        If they are not the photo of that hash, or no sound JPEG of a size that is kept.
    """
    path = photo_path(folder, content_hash)
    if hashlib.sha256(data).hexdigest() != content_hash:
        raise ParseError("expected the photo of that hash, got other bytes; export it again")
    try:
        with Image.open(BytesIO(data), formats=("JPEG",)) as opened:
            if max(opened.size) > MAX_SIDE:
                raise ParseError(
                    f"expected at most {MAX_SIDE} pixels on a side, got {max(opened.size)}"
                )
            opened.load()
    except (*_BOMB, *_DAMAGED) as error:
        raise ParseError("expected a whole JPEG, got something else; export it again") from error
    if not path.exists():
        write_photo(path, data)
    return StoredPhoto(content_hash=content_hash, media_type=MEDIA_TYPE, size_bytes=len(data))


def read_photo(folder: Path, content_hash: str, *, small: bool = False) -> bytes:
    """Return the bytes of a kept photo, or of its small picture, which is made at the first asking.

    Raises
    ------
    NotFoundError
        If it is no hash, or the file is gone.
    """
    path = photo_path(folder, content_hash)
    if not path.is_file():
        raise NotFoundError(
            f"expected the photo's file {path.name}, got none; restore the photos from a backup"
        )
    if not small:
        return path.read_bytes()
    beside = path.with_suffix(".small.jpg")
    if beside.exists():
        return beside.read_bytes()
    with Image.open(path, formats=("JPEG",)) as opened:
        opened.thumbnail((SMALL_SIDE, SMALL_SIDE))
        out = BytesIO()
        opened.save(out, "JPEG", quality=SMALL_QUALITY)
    # Kept only to be quicker the next time: without room it is shown all the same.
    with suppress(OSError):
        write_photo(beside, out.getvalue())
    return out.getvalue()


def write_photo(path: Path, data: bytes) -> None:
    """Write a file that is there whole or not at all."""
    path.parent.mkdir(parents=True, exist_ok=True)
    with NamedTemporaryFile(dir=path.parent, suffix=".part", delete=False) as part:
        try:
            part.write(data)
            part.flush()
            os.fsync(part.fileno())
        except OSError:
            # Half a file would take the room that is missing.
            Path(part.name).unlink()
            raise
    Path(part.name).replace(path)
