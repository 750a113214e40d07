"""The file of a case pack: one zip, a manifest with the hash of each entry, one case file each.

Nothing in a pack is ever written to a disk under a name that it brings: entries are read into
memory, each under caps on what it declares and on what it streams, and names must be those that
a pack has. Whatever else is in the file, it is refused whole.
"""

import hashlib
import json
import re
import stat
import struct
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from io import BytesIO
from typing import Any, BinaryIO, Final

from kb.case.casefile import MAX_FILE_BYTES
from kb.case.casefile_header import FENCE
from kb.case.one_line import one_line
from kb.errors import PackError

FORMAT: Final = 1
MANIFEST: Final = "manifest.json"
# Caps (our choice): a shop of ten years has some 20,000 cases of 2 kB each, a quarter of that zipped.
MOST_CASES: Final = 20_000
MAX_PACK_BYTES: Final = 32_000_000
MAX_MANIFEST_BYTES: Final = 4_000_000
MAX_WHOLE_BYTES: Final = 200_000_000
# How often its own size an entry may grow; text of a case file grows 2 to 6 times (measured on the
# demonstration shop), a bomb a thousand times (our choice). Small entries may be all alike.
MAX_RATIO: Final = 50
_SMALL: Final = 4096
# Characters of a shop's name (our choice).
MAX_NAME: Final = 80
_ENTRY: Final = re.compile(r"cases/(P[0-9a-f]{16})\.md")
# Bytes of one row of a zip's list at most: its fixed part, a name of this format, no extras.
_MAX_ROW: Final = 46 + 64
_ENCRYPTED: Final = 0x1
_WHEN: Final = (1980, 1, 1, 0, 0, 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """What a pack says of itself; ``hashes`` are SHA-256 of the entries by name, in hex.

    ``sender`` is a number that all packs of one shop share and that says nothing else of it.
    """

    shop: str
    sender: str
    made: date
    hashes: Mapping[str, str]


def pack_bytes(shop: str, made: date, texts: Mapping[str, str], *, sender: str) -> bytes:
    """Return the file of a pack; the same cases, name and day give the same bytes.

    Parameters
    ----------
    shop : str
        The name that the shop wants to be known by.
    made : date
        The day.
    texts : mapping
        Case files by id.
    sender : str
        The number that all packs of the shop share.

    Raises
    ------
    PackError
        If there is no name, no case, or more than a pack holds.
    """
    shop = one_line(shop)
    if not 0 < len(shop) <= MAX_NAME:
        raise PackError(f"expected a name of 1 to {MAX_NAME} characters for the shop, got '{shop}'")
    if not 0 < len(texts) <= MOST_CASES:
        raise PackError(f"expected 1 to {MOST_CASES} cases for a pack, got {len(texts)}")
    entries = {f"cases/{key}.md": text.encode("utf-8") for key, text in sorted(texts.items())}
    manifest = {
        "format": FORMAT,
        "shop": shop,
        "sender": sender,
        "made": made.isoformat(),
        "cases": len(entries),
        "sha256": {name: hashlib.sha256(body).hexdigest() for name, body in entries.items()},
    }
    head = json.dumps(manifest, ensure_ascii=False, indent=1).encode("utf-8")
    out = BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as file:
        for name, body in {MANIFEST: head, **entries}.items():
            file.writestr(zipfile.ZipInfo(name, _WHEN), body, zipfile.ZIP_DEFLATED)
    if out.tell() > MAX_PACK_BYTES:
        raise PackError(
            f"expected a pack of at most {MAX_PACK_BYTES // 1_000_000} MB, got "
            f"{out.tell() // 1_000_000} MB; make several of fewer cases"
        )
    return out.getvalue()


class PackFile:
    """A pack that is read; made, its list of entries and its manifest are sound.

    Parameters
    ----------
    stream : binary stream
        The file, at its beginning; read whole, up to the largest size.

    Raises
    ------
    PackError
        Naming what is wrong; nothing was read but the list and the manifest.
    """

    def __init__(self, stream: BinaryIO) -> None:
        content = stream.read(MAX_PACK_BYTES + 1)
        if len(content) > MAX_PACK_BYTES:
            raise PackError(
                f"expected a pack of at most {MAX_PACK_BYTES // 1_000_000} MB, got a larger file"
            )
        _refuse_long_list(content)
        try:
            self._zip = zipfile.ZipFile(BytesIO(content))
        except (zipfile.BadZipFile, ValueError, struct.error, NotImplementedError) as error:
            raise _no_pack(str(error)) from error
        self._rows = _checked(self._zip.infolist())
        self.manifest = _manifest(self._read(MANIFEST, MAX_MANIFEST_BYTES), set(self._rows))

    def texts(self) -> Iterator[tuple[str, bytes]]:
        """Yield the id and the bytes of each case file, each held against its hash.

        Raises
        ------
        PackError
            If an entry is torn, larger than it says, or not what the manifest names.
        """
        for name, digest in sorted(self.manifest.hashes.items()):
            body = self._read(name, MAX_FILE_BYTES)
            if hashlib.sha256(body).hexdigest() != digest:
                raise PackError(f"expected {name} as the manifest has it, got other content")
            if not body.startswith(FENCE.encode()):
                raise PackError(f"expected a case file as {name}, got something else")
            yield name.removeprefix("cases/").removesuffix(".md"), body

    def _read(self, name: str, most: int) -> bytes:
        row = self._rows[name]
        if row.file_size > most:
            raise PackError(f"expected {name} with at most {most} bytes, got {row.file_size}")
        try:
            with self._zip.open(row) as entry:
                body = entry.read(most + 1)
        except (
            zipfile.BadZipFile,
            zlib.error,
            EOFError,
            ValueError,
            OSError,
            RuntimeError,
        ) as error:
            raise _no_pack(f"{name}: {error}") from error
        if len(body) != row.file_size:
            raise PackError(f"expected {name} with {row.file_size} bytes, got another size")
        return body


def _no_pack(why: str) -> PackError:
    return PackError(f"expected a case pack, got another or a torn file ({why}); ask for it again")


def _refuse_long_list(content: bytes) -> None:
    """Refuse a list of entries that is longer than any pack's before it is read into memory."""
    at = content.rfind(b"PK\x05\x06", max(0, len(content) - 65_557))
    if at < 0 or at + 22 > len(content):
        raise _no_pack("it is no zip file")
    count, size = struct.unpack_from("<HI", content, at + 10)
    large = content[max(0, at - 20) :].startswith(b"PK\x06\x07")
    if large or count > MOST_CASES + 1 or size > (MOST_CASES + 1) * _MAX_ROW:
        raise PackError(f"expected at most {MOST_CASES} cases in a pack, got a longer list")


def _checked(rows: list[zipfile.ZipInfo]) -> dict[str, zipfile.ZipInfo]:
    found: dict[str, zipfile.ZipInfo] = {}
    for row in rows:
        _refuse_row(row)
        if row.filename in found:
            raise PackError(f"expected each name once, got {row.filename} twice")
        found[row.filename] = row
    if MANIFEST not in found:
        raise _no_pack("it has no manifest")
    whole = sum(row.file_size for row in rows)
    if whole > MAX_WHOLE_BYTES:
        raise PackError(f"expected at most {MAX_WHOLE_BYTES} bytes unpacked, got {whole}")
    return found


def _refuse_row(row: zipfile.ZipInfo) -> None:
    # The name as it stands in the file: the library cuts at a NUL and turns backslashes.
    name = row.orig_filename
    if name != MANIFEST and not _ENTRY.fullmatch(name):
        raise PackError(
            f"expected only {MANIFEST} and cases/*.md in a pack, got {one_line(name)[:60]!r}"
        )
    mode = row.external_attr >> 16
    if mode and not stat.S_ISREG(mode) and stat.S_IFMT(mode):
        raise PackError(f"expected plain files in a pack, got {name} as a link or a folder")
    if row.flag_bits & _ENCRYPTED:
        raise PackError(f"expected readable entries, got {name} behind a password")
    if row.compress_type not in {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}:
        raise PackError(f"expected {name} stored or deflated, got method {row.compress_type}")
    if row.file_size > max(_SMALL, MAX_RATIO * row.compress_size):
        raise PackError(f"expected {name} as text, got {row.file_size} bytes out of few")


def _manifest(body: bytes, names: set[str]) -> Manifest:
    try:
        table = json.loads(body.decode("utf-8"))
        return _read_manifest(table, names)
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise _no_pack(f"its manifest: {one_line(str(error))[:80]}") from error


def _read_manifest(table: Mapping[str, Any], names: set[str]) -> Manifest:
    if table["format"] != FORMAT:
        raise PackError(
            f"expected a pack of format {FORMAT}, got {str(table['format'])[:20]}; "
            "install the newer Baybook"
        )
    shop = one_line(table["shop"])
    if not 0 < len(shop) <= MAX_NAME:
        raise ValueError("a shop's name")
    hashes = {str(name): str(digest) for name, digest in table["sha256"].items()}
    if set(hashes) != names - {MANIFEST} or table["cases"] != len(hashes):
        raise PackError("expected the entries that the manifest names, got others")
    return Manifest(
        shop=shop,
        sender=str(table["sender"]),
        made=date.fromisoformat(table["made"]),
        hashes=hashes,
    )
