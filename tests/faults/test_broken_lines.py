"""Lines that are cut, memory that runs out, several processes at once: saved whole or not at all."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def run(deed, home, *more):
    """Run one deed of ``tests.faults.deeds`` in a process without threads; return what it said."""
    command = [sys.executable, "-m", "tests.faults.deeds", deed, str(home), *map(str, more)]
    # Else the memory of a thread may be set aside by glibc, 64 MB at once and by chance: all the
    # little room that a server is left.
    env = {**os.environ, "MALLOC_ARENA_MAX": "1"}
    done = subprocess.run(
        command, cwd=ROOT, env=env, capture_output=True, text=True, timeout=300, check=False
    )
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


@pytest.mark.slow
def test_a_form_cut_at_any_byte_is_saved_whole_or_not_at_all_and_sent_again_once(tmp_path):
    said = run("cut", tmp_path / "shop")
    cuts, saved, refused = map(int, said.split())
    # Every part of head and body was cut once; only the whole form can be saved.
    assert cuts > 300
    assert saved <= 1
    assert refused == 0


@pytest.mark.slow
def test_a_server_that_runs_out_of_memory_loses_nothing_and_the_next_one_goes_on(tmp_path):
    said = run("starve", tmp_path / "shop", 2)
    acknowledged, starved = map(int, said.split())
    assert starved >= 1
    assert acknowledged >= 4


@pytest.mark.slow
def test_two_servers_and_an_import_share_one_shop_and_nobody_is_turned_away(tmp_path):
    said = run("share", tmp_path / "shop")
    opened, imported, refused = map(int, said.split())
    assert refused == 0
    assert opened == 120
    assert imported == 150
