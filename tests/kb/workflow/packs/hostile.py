"""Fifty archives that no shop would send: each is to be refused whole, and write nothing."""

import hashlib
import json
import stat
import struct
import warnings
import zipfile
from io import BytesIO

KEY = f"P{'0' * 16}"
NAME = f"cases/{KEY}.md"
BODY = b"+++\n+++\n"

OUTSIDE = (
    "../evil", "../../../../tmp/evil", "/etc/evil", "//host/share/evil", "C:\\evil", "C:/evil",
    "..\\..\\evil", "cases/../evil", f"cases/../../{KEY}.md", f"./{NAME}", f"cases//{KEY}.md",
    f"cases\\{KEY}.md", f"{NAME}\0.txt", f"{NAME}/", "cases/", "CASES/P.md", "cases/CON.md",
    f"cases/{KEY}.md ", f"cases/{KEY}.MD", f"cases/{KEY}.md:stream", "inner.zip", "~/.profile",
    f"cases/{KEY.replace('0', chr(0xFF10))}.md", "manifest.json/x", "", "\u202ecases.md",
)  # fmt: skip


def manifest(entries, **changes):
    hashes = {name: hashlib.sha256(body).hexdigest() for name, body in entries.items()}
    head = {
        "format": 1, "shop": "Evil", "sender": "e", "made": "2026-05-01", "cases": len(entries),
        "sha256": hashes,
    }  # fmt: skip
    return json.dumps(head | changes).encode()


def made(entries=None, *, head=None, method=zipfile.ZIP_DEFLATED, tweak=None, twice=False):
    """Return a zip of ``entries`` with a manifest that fits unless another ``head`` is given."""
    entries = {NAME: BODY} if entries is None else entries
    out = BytesIO()
    with warnings.catch_warnings(), zipfile.ZipFile(out, "w") as file:
        # That a name stands twice is what is wanted.
        warnings.simplefilter("ignore", UserWarning)
        rows = {"manifest.json": manifest(entries) if head is None else head, **entries}
        for name, body in [*rows.items(), *(entries.items() if twice else ())]:
            row = zipfile.ZipInfo("x")
            row.filename = row.orig_filename = name
            if tweak is not None and name != "manifest.json":
                tweak(row)
            file.writestr(row, body, method)
    return out.getvalue()


def mode(value):
    def tweak(row):
        row.create_system = 3
        row.external_attr = value << 16

    return tweak


def patched(content, signature, offset, fmt, value):
    """Return a zip with one number overwritten in its last record of a kind."""
    at = content.rfind(signature) + offset
    return content[:at] + struct.pack(fmt, value) + content[at + struct.calcsize(fmt) :]


ROW, END, LOCAL = b"PK\x01\x02", b"PK\x05\x06", b"PK\x03\x04"


def archives():
    """Yield a name and the bytes of each hostile archive."""
    yield from _names_and_bombs()
    yield from _manifests()
    yield from _lies()


def _names_and_bombs():
    for name in OUTSIDE:
        yield f"name {name!r}", made({name: BODY})
    for kind in (stat.S_IFLNK, stat.S_IFDIR, stat.S_IFIFO, stat.S_IFCHR, stat.S_IFBLK):
        yield f"mode {kind:o}", made({NAME: b"/etc/passwd"}, tweak=mode(kind | 0o777))
    yield "bomb", made({NAME: b"0" * 200_000})
    yield "bomb of the largest size", made({NAME: b"\0" * 50_000_000})
    yield "bomb in the manifest", made({}, head=b" " * 3_900_000)
    yield "stored and too large", made({NAME: b"x" * 300_000}, method=zipfile.ZIP_STORED)
    yield "nested zip as a case", made({NAME: made()})
    yield "twice the same name", made(twice=True)
    yield "another compression", made(method=zipfile.ZIP_BZIP2)
    yield "a third compression", made(method=zipfile.ZIP_LZMA)


def _manifests():
    yield "no manifest", made()[:30] + b"MANIFEST.JSON" + made()[43:]
    yield "manifest is no JSON", made(head=b"{")
    yield "manifest nested deeply", made(head=b"[" * 100_000)
    yield "manifest is a list", made(head=b"[]")
    yield "newer format", made(head=manifest({NAME: BODY}, format=2))
    yield "hash of another text", made(head=manifest({NAME: b"other"}))
    yield "entries not named", made(head=manifest({}))
    yield "no name", made(head=manifest({NAME: BODY}, shop="\x1b\n "))


def _lies():
    yield "size lied smaller", patched(made(), ROW, 24, "<I", 3)
    yield "size lied larger", patched(made(), ROW, 24, "<I", 4000)
    yield "password", patched(made(), ROW, 8, "<H", 1)
    yield "list longer than the file", patched(made(), END, 12, "<I", 2**31)
    yield "list of too many", patched(made(), END, 10, "<H", 65_000)
    yield "list begins elsewhere", patched(made(), END, 16, "<I", 2**31)
    yield "two names for one entry", patched(made(), LOCAL, 30, "<5s", b"evil/")
    yield "large-file record", made()[:-22] + b"PK\x06\x07" + b"\0" * 16 + made()[-22:]
    yield "torn", made()[:-30]
    yield "empty", b""
    yield "no zip", b"%PDF-1.7 " * 100
