import hashlib
import json
import os
import sys
import zipfile
from datetime import date
from io import BytesIO
from typing import Any, BinaryIO, cast

import pytest

from kb.errors import PackError
from kb.workflow.packs.container import (
    MANIFEST,
    MAX_NAME,
    MAX_PACK_BYTES,
    MOST_CASES,
    PackFile,
    pack_bytes,
)
from tests.kb.workflow.packs.hostile import archives

DAY = date(2026, 5, 4)
TEXTS = {f"P{at:016x}": f"+++\nid = {at}\n+++\n" for at in range(3)}
HOSTILE = dict(archives())
# What a program does when it writes; watched while a pack is read.
WRITES = {"os.mkdir", "os.rename", "os.symlink", "os.link", "os.remove", "os.truncate", "os.chmod"}
WATCH: dict[str, Any] = {"on": False, "seen": []}


def _watch(event, args):
    if not WATCH["on"]:
        return
    if event == "open":
        how, flags = args[1], args[2]
        writes = isinstance(flags, int) and flags & (os.O_WRONLY | os.O_RDWR | os.O_CREAT)
        if writes or (isinstance(how, str) and set(how) & set("wax+")):
            WATCH["seen"].append(args)
    elif event in WRITES:
        WATCH["seen"].append((event, args))


sys.addaudithook(_watch)


@pytest.fixture
def written(tmp_path, monkeypatch):
    """Return what was written since everything that a test needs is there."""
    monkeypatch.chdir(tmp_path)
    WATCH["on"], WATCH["seen"] = True, []
    yield WATCH["seen"]
    WATCH["on"] = False


def test_a_pack_gives_back_its_name_day_and_texts():
    pack = PackFile(BytesIO(pack_bytes(" North \n gate ", DAY, TEXTS, sender="s")))
    assert (pack.manifest.shop, pack.manifest.made, pack.manifest.sender) == (
        "North gate",
        DAY,
        "s",
    )
    assert {key: body.decode() for key, body in pack.texts()} == TEXTS


def test_the_same_cases_give_the_same_bytes_and_each_entry_has_its_hash():
    one = pack_bytes("A", DAY, TEXTS, sender="s")
    assert one == pack_bytes("A", DAY, dict(reversed(TEXTS.items())), sender="s")
    with zipfile.ZipFile(BytesIO(one)) as file:
        head = json.loads(file.read(MANIFEST))
        for name, digest in head["sha256"].items():
            assert hashlib.sha256(file.read(name)).hexdigest() == digest
    assert head["cases"] == len(TEXTS)


@pytest.mark.parametrize("shop", ["", " \n ", "x" * (MAX_NAME + 1)])
def test_a_pack_needs_a_name(shop):
    with pytest.raises(PackError, match="a name of 1 to"):
        pack_bytes(shop, DAY, TEXTS, sender="s")


def test_a_pack_holds_some_cases_and_not_too_many():
    for texts in ({}, dict.fromkeys((f"P{at:016x}" for at in range(MOST_CASES + 1)), "")):
        with pytest.raises(PackError, match="1 to 20000 cases"):
            pack_bytes("A", DAY, texts, sender="s")


def test_there_are_fifty_hostile_archives_and_more():
    assert len(HOSTILE) >= 50


@pytest.mark.source("zip slip, bombs, links", "what is known of hostile archives, from memory")
@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_archive_is_refused_and_nothing_is_written(name, written, tmp_path):
    with pytest.raises(PackError) as refused:
        dict(PackFile(BytesIO(HOSTILE[name])).texts())
    assert str(refused.value).startswith("expected ")
    assert str(refused.value).isprintable()
    assert written == []
    assert list(tmp_path.iterdir()) == []


def test_the_watch_sees_a_write(written, tmp_path):
    (tmp_path / "x").write_text("x")
    assert written


def test_every_cut_and_every_flipped_byte_is_refused_or_gives_the_same_texts():
    content = pack_bytes("A", DAY, TEXTS, sender="s")
    whole = {key: text.encode() for key, text in TEXTS.items()}
    changed = [content[:at] for at in range(len(content))]
    changed += [
        content[:at] + bytes([content[at] ^ 1 << at % 8]) + content[at + 1 :]
        for at in range(len(content))
    ]
    refused = 0
    for wrong in changed:
        try:
            assert dict(PackFile(BytesIO(wrong)).texts()) == whole
        except PackError:
            refused += 1
    assert refused > len(content)


def test_a_file_larger_than_any_pack_is_not_read_whole():
    class Endless:
        asked = 0

        def read(self, size):
            self.asked += size
            return b"0" * size

    stream = Endless()
    with pytest.raises(PackError, match="at most 32 MB"):
        PackFile(cast(BinaryIO, stream))
    assert stream.asked == MAX_PACK_BYTES + 1
