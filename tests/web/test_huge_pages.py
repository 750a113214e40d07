import mmap
import platform
import re
from pathlib import Path

import pytest

from web import huge_pages
from web.huge_pages import PIECE, gather, pieces

MAPS = """\
1ff000-601000 rw-p 00000000 00:00 0
800000-a00000 r-xp 00000000 08:01 17 /usr/bin/python3
a00000-c00000 rw-p 00000000 00:00 0 [heap]
c00000-dff000 rw-p 00000000 00:00 0
e00000-1000000 rw-s 00000000 00:01 9 /dev/zero (deleted)
1000000-1200000 rw-p 00000000 08:01 18 /srv/shop of mine/baybook.db
1200000-1400000 rw-p 00000000 00:00 0 [stack]
"""


def huge_kb():
    told = Path("/proc/self/smaps_rollup").read_text("ascii")
    return int(re.findall(r"AnonHugePages: *(\d+)", told)[0])


def test_only_whole_pieces_of_own_memory_are_asked_for():
    assert list(pieces(MAPS)) == [0x200000, 0x400000]


def gathers():
    """Return whether this is Linux 6.1 or later, as ``madvise(2)`` wants it."""
    told = re.match(r"(\d+)\.(\d+)", platform.release())
    return huge_pages._ALLOWED.exists() and told and tuple(map(int, told.groups())) >= (6, 1)


@pytest.mark.source("Linux manual pages", "madvise(2), MADV_COLLAPSE")
@pytest.mark.skipif(not gathers(), reason="older Linux gathers no pages when asked")
def test_memory_is_whole_afterwards_and_holds_what_it_held():
    if "[never]" in huge_pages._ALLOWED.read_text("ascii"):
        assert gather() == 0
        return
    with mmap.mmap(-1, 16 * PIECE, flags=mmap.MAP_PRIVATE) as own:
        for at in range(0, len(own), mmap.PAGESIZE):
            own[at] = at // mmap.PAGESIZE % 251
        before = huge_kb()
        assert gather() >= 8
        assert huge_kb() - before >= 8 * PIECE // 1024
        assert all(own[at] == at // mmap.PAGESIZE % 251 for at in range(0, len(own), mmap.PAGESIZE))


def test_where_such_pages_are_forbidden_nothing_is_asked_for(tmp_path, monkeypatch):
    forbidden = tmp_path / "enabled"
    forbidden.write_text("always madvise [never]\n", "ascii")
    monkeypatch.setattr(huge_pages, "_ALLOWED", forbidden)
    assert gather() == 0
    monkeypatch.setattr(huge_pages, "_ALLOWED", tmp_path / "none")
    assert gather() == 0
