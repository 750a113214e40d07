import os
import subprocess
import sys

import pytest

from tests.web.test_serving import linux_only
from web import spare_memory

# In a process of its own: what else a process holds decides where the holes are.
HOLES = """
import sys
from web.spare_memory import give_back, use_one_heap

def resident():
    with open("/proc/self/statm", encoding="ascii") as file:
        return int(file.read().split()[1])

use_one_heap()
kept = [bytes(20_000) for _ in range(5_000)]
full = resident()
# What is kept to the end of the heap lets none of it go by itself.
kept = kept[::50]
before = resident()
given = give_back()
print(full - before, before - resident(), given)
"""


@linux_only
@pytest.mark.source("Linux manual pages", "malloc_trim(3), since glibc 2.8")
def test_holes_between_what_is_kept_are_given_back():
    run = subprocess.run(
        [sys.executable, "-c", HOLES], capture_output=True, text=True, check=True, timeout=60
    )
    by_itself, given_back, said = run.stdout.split()
    page = os.sysconf("SC_PAGE_SIZE")
    assert said == "True"
    assert int(by_itself) * page < 5_000_000
    assert int(given_back) * page > 70_000_000


def test_where_memory_is_given_out_otherwise_nothing_happens(monkeypatch):
    monkeypatch.setattr(sys, "platform", "other")
    spare_memory.use_one_heap()
    assert not spare_memory.give_back()


HEAPS = """
import re, threading
from pathlib import Path
from web.spare_memory import use_one_heap

use_one_heap()
held = []
threads = [threading.Thread(target=lambda: held.append(bytes(5_000))) for _ in range(4)]
for thread in threads:
    thread.start()
for thread in threads:
    thread.join()
first, last = re.search(r"(\\w+)-(\\w+) .*\\[heap\\]", Path("/proc/self/maps").read_text()).groups()
print(sum(int(first, 16) <= id(one) < int(last, 16) for one in held))
"""


@linux_only
@pytest.mark.source("Linux manual pages", "mallopt(3), M_ARENA_MAX")
def test_threads_share_one_heap():
    run = subprocess.run(
        [sys.executable, "-c", HEAPS], capture_output=True, text=True, check=True, timeout=60
    )
    assert run.stdout.split() == ["4"]
