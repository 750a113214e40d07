import json
import random
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from kb.store.engine import DATABASE
from tests.faults.kill_server import Sent, Shop, Tally

ROOT = Path(__file__).parents[2]


# In a process of its own: only one without threads may be forked.
def kill(cycles):
    command = [sys.executable, "-m", "tests.faults.kill_server", "--cycles", str(cycles)]
    done = subprocess.run(
        command, cwd=ROOT, capture_output=True, text=True, timeout=300, check=False
    )
    return done.returncode, json.loads(done.stdout.splitlines()[-1]), done.stdout


@pytest.mark.slow
def test_a_killed_server_loses_no_form_that_it_acknowledged_and_leaves_none_half():
    status, tally, said = kill(12)
    assert status == 0, said
    assert tally["cycles"] == 12
    assert tally["acknowledged_in_all"] >= 4
    assert tally["sent_again"] >= 4
    wrong = ("lost", "half", "twice", "unsound", "refused", "faults_in_the_log")
    assert {name: tally[name] for name in wrong} == dict.fromkeys(wrong, 0)


@pytest.fixture
def shop(tmp_path, monkeypatch):
    """Return a shop that one form opened a job in, and what is known of the form."""
    monkeypatch.setattr(Shop, "_sign_in", lambda _: ("", {}))
    made = Shop(tmp_path / "shop", random.Random(1), Tally())
    (made.home / "server.log").touch()
    with closing(sqlite3.connect(made.home / DATABASE)) as database:
        database.executescript(
            """INSERT INTO sent_forms (form_id, at, who) VALUES ('f1', '2026-05-12', 'Ines');
            INSERT INTO lines (job_id, ordinal, text) VALUES ('J1', 0, 'mark f1');"""
        )
    fields = {"form_id": "f1"}
    sent = Sent(form_id="f1", kind="add", path="/", mark="mark f1", fields=fields, job="J1")
    sent.status = 302
    made.forms.append(sent)
    return made


@pytest.mark.parametrize(
    ("deed", "wrong"),
    [
        ("SELECT 1", []),
        ("DELETE FROM lines", ["lost", "half"]),
        ("DELETE FROM sent_forms", ["half"]),
        ("INSERT INTO lines (job_id, ordinal, text) VALUES ('J1', 1, 'mark f1')", ["twice"]),
        (
            "INSERT INTO photos (content_hash, media_type, size_bytes) VALUES ('0', 'x', 1)",
            ["unsound"],
        ),
    ],
)
def test_what_was_lost_halved_or_doubled_is_noticed(shop, deed, wrong):
    with closing(sqlite3.connect(shop.home / DATABASE)) as database:
        database.execute(deed)
        database.commit()
    shop.read_whole()
    found = [name for name in ("lost", "half", "twice", "unsound") if getattr(shop.tally, name)]
    assert found == wrong
