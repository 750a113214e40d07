"""Kill a serving shop again and again while forms come in; see what is there afterwards.

Run as ``python -m tests.faults.kill_server --cycles N``. Each cycle starts a server, sends it forms
over several lines at once, kills it with SIGKILL, opens the shop again and compares. A form counts
as acknowledged when its answer, a redirect, came back whole. Forms without an answer are sent
again, unchanged, to the next server: that must not write them twice.
"""

import argparse
import hashlib
import http.client
import json
import random
import shutil
import sqlite3
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterable
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path

from typing_extensions import override

from kb.store.engine import DATABASE, default_url, open_store
from tests.factories import a_picture
from tests.faults.forked import ForkedServer, Line, make_shop, server_log, warm_up
from tests.web.test_jobs import CLOSE

LINES = 3
# A server lives so long from its first answer to a form, in a quarter of the cycles from the first
# sending, which catches its very first write (our choice; a write takes about 12 ms).
SHORTEST_S, LONGEST_S = 0.03, 0.12
AFTER_AN_ANSWER = 0.75
# A first answer that takes longer is a fault of its own.
PATIENCE_S = 30.0
# Servers over one shop before it is read whole and a new one begun: the shop stays small.
CYCLES_OF_A_SHOP = 20
_BROKEN = (OSError, http.client.HTTPException)


@dataclass(kw_only=True)
class Sent:
    """One form on its way; ``mark`` is a text that stands nowhere else."""

    form_id: str
    kind: str
    path: str
    mark: str
    fields: dict[str, str]
    job: str | None = None
    photo: bytes | None = None
    status: int | None = None

    @property
    def acknowledged(self) -> bool:
        """Whether the sender was told that it is written."""
        return self.status == 302


@dataclass(kw_only=True)
class Tally:
    """What came of the cycles."""

    cycles: int = 0
    acknowledged: Counter[str] = field(default_factory=Counter)
    unanswered: int = 0
    unanswered_but_written: int = 0
    sent_again: int = 0
    refused: list[str] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)
    half: list[str] = field(default_factory=list)
    twice: list[str] = field(default_factory=list)
    unsound: list[str] = field(default_factory=list)
    faults_in_the_log: int = 0
    seconds: float = 0.0

    @property
    def troubles(self) -> list[str]:
        """All that must not be."""
        return [*self.refused, *self.lost, *self.half, *self.twice, *self.unsound]


class Sender(threading.Thread):
    """Sends forms over one line until it breaks; first ``again``, then about its ``jobs``."""

    def __init__(self, line: Line, chance: random.Random, answered: threading.Event) -> None:
        super().__init__(daemon=True)
        self.line, self.chance, self.answered = line, chance, answered
        self.again: list[Sent] = []
        self.sent: list[Sent] = []
        self.jobs: list[str] = []

    @override
    def run(self) -> None:
        """Send until the line breaks."""
        try:
            for form in self.again:
                self._send(form)
            while True:
                self._send(self._next())
        except _BROKEN:
            self.line.close()

    def _send(self, form: Sent) -> None:
        form.status = None
        self.sent.append(form)
        status, location, _ = self.line.post(form.path, form.fields, form.photo)
        if form.kind == "open" and status == 302:
            form.job = location.rsplit("/", 1)[1]
            self.jobs.append(form.job)
        elif form.kind == "close" and form.job in self.jobs:
            self.jobs.remove(form.job)
        # Last, so that a form that counts as acknowledged has its job.
        form.status = status
        self.answered.set()

    def _next(self) -> Sent:
        form_id = f"{self.chance.getrandbits(128):032x}"
        mark = f"mark {form_id}"
        kind = self.chance.choices(["open", "add", "photo", "close"], [4, 5, 1, 1])[0]
        if kind == "open" or not self.jobs:
            typed = {"text": f"no crank; batt 12.4 V\n{mark}", "action": "open"}
            return self._form("open", "/jobs", mark, form_id, typed)
        job = self.chance.choice(self.jobs)
        typed = {
            "add": {"text": f"low 58 hi 318\n{mark}"},
            "photo": {"caption": mark},
            "close": CLOSE | {"lesson": mark},
        }[kind]
        form = self._form(kind, f"/job/{job}/{kind}", mark, form_id, typed)
        form.job = job
        if kind == "photo":
            shade = f"#{self.chance.getrandbits(24):06x}"
            form.photo = a_picture(colour=shade)
        return form

    def _form(self, kind: str, path: str, mark: str, form_id: str, typed: dict[str, str]) -> Sent:
        fields = {"form_id": form_id, **typed}
        return Sent(form_id=form_id, kind=kind, path=path, mark=mark, fields=fields)


# Where the mark of each kind of form stands once it is written.
_WRITTEN = {
    "open": "SELECT job_id FROM lines WHERE text LIKE '%' || ?",
    "add": "SELECT job_id FROM lines WHERE text LIKE '%' || ?",
    "photo": "SELECT job_id FROM job_photos WHERE caption = ?",
    "close": "SELECT job_id FROM closings WHERE lesson = ?",
}


class Shop:
    """A shop whose servers are killed, and what was sent to it."""

    def __init__(self, home: Path, chance: random.Random, tally: Tally) -> None:
        self.home, self.chance, self.tally = home, chance, tally
        self.session = make_shop(home)
        self.token, self.cookies = self._sign_in()
        self.forms: list[Sent] = []
        self.again: list[Sent] = []
        self.answered = threading.Event()

    def _sign_in(self) -> tuple[str, dict[str, str]]:
        """Return a token of forms and the cookies; both outlive the servers."""
        server = ForkedServer(self.home)
        line = Line(server.port, self.session)
        line.sign_in()
        line.close()
        server.kill()
        return line.token, line.cookies

    def cycle(self) -> None:
        """Start a server, send, kill it, compare."""
        self.answered.clear()
        server = ForkedServer(self.home)
        senders = self._senders(server)
        for sender in senders:
            sender.start()
        if self.chance.random() < AFTER_AN_ANSWER:
            self.answered.wait(timeout=PATIENCE_S)
        time.sleep(self.chance.uniform(SHORTEST_S, LONGEST_S))
        server.kill()
        for sender in senders:
            sender.join(timeout=PATIENCE_S)
        self.tally.cycles += 1
        self._compare([form for sender in senders for form in sender.sent])

    def _senders(self, server: ForkedServer) -> list[Sender]:
        made = []
        for n in range(LINES):
            line = Line(server.port, self.session)
            line.cookies, line.token = dict(self.cookies), self.token
            sender = Sender(line, random.Random(self.chance.getrandbits(64)), self.answered)
            sender.again, sender.jobs = self.again[n::LINES], self._open_jobs()[n::LINES]
            made.append(sender)
        return made

    def _open_jobs(self) -> list[str]:
        """Return the jobs that no form wants closed; so no line closes another line's job."""
        closed = {form.job for form in self.forms if form.kind == "close"}
        known = {form.job for form in self.forms if form.job and form.job not in closed}
        return sorted(known)

    def _compare(self, sent: list[Sent]) -> None:
        # A form that waited to be sent again may not have had its turn.
        tried = {form.form_id for form in sent}
        waiting = [form for form in self.again if form.form_id not in tried]
        self.tally.sent_again += len(self.again) - len(waiting)
        known = {form.form_id for form in self.forms}
        self.forms += [form for form in sent if form.form_id not in known]
        answered = [form for form in sent if form.status is not None]
        self.tally.acknowledged.update(form.kind for form in answered if form.acknowledged)
        self.tally.refused += [
            f"{form.kind} {form.form_id}: {form.status}"
            for form in answered
            if not form.acknowledged and not self._settled(form)
        ]
        unanswered = [form for form in sent if form.status is None]
        self.tally.unanswered += len(unanswered)
        with closing(sqlite3.connect(self.home / DATABASE)) as database:
            self._unsound(database)
            for form in sent:
                self._one(database, form)
        self.again = [*waiting, *unanswered]

    def _settled(self, form: Sent) -> bool:
        """Say whether a form was refused because another one had closed its job meanwhile."""
        closed = any(f.kind == "close" and f.job == form.job for f in self.forms)
        return form.status in {400, 409} and closed

    def _unsound(self, database: sqlite3.Connection) -> None:
        checks = ("PRAGMA quick_check", "PRAGMA foreign_key_check")
        found = [row for check in checks for row in database.execute(check).fetchall()]
        self.tally.unsound += [str(row) for row in found if row != ("ok",)]

    def _one(self, database: sqlite3.Connection, form: Sent) -> None:
        rows = database.execute(_WRITTEN[form.kind], (form.mark,)).fetchall()
        taken = database.execute(
            "SELECT job_id FROM sent_forms WHERE form_id = ?", (form.form_id,)
        ).fetchall()
        what = f"{form.kind} {form.form_id}"
        if form.acknowledged and not rows:
            self.tally.lost.append(what)
        if bool(rows) != bool(taken):
            self.tally.half.append(f"{what}: {len(rows)} records, {len(taken)} notes of the form")
        if len(rows) > 1:
            self.tally.twice.append(what)
        if rows and form.status is None:
            self.tally.unanswered_but_written += 1
        if rows and form.job and rows[0][0] != form.job:
            self.tally.lost.append(f"{what}: on {rows[0][0]}, expected {form.job}")

    def read_whole(self) -> None:
        """Read every job, photo and form of the shop once more, at the end of its days."""
        with closing(sqlite3.connect(self.home / DATABASE)) as database:
            for form in self.forms:
                self._one(database, form)
            self.tally.half += _half_jobs(database)
            hashes = [row for (row,) in database.execute("SELECT content_hash FROM photos")]
        with open_store(default_url(self.home)) as store, store.read() as unit:
            self.tally.half += [f"job {row}: not as written" for row in unit.jobs.verify_hashes()]
        self.tally.unsound += _wrong_photos(self.home / "photos", hashes)
        self.tally.faults_in_the_log += server_log(self.home).count("Fault on")


def _half_jobs(database: sqlite3.Connection) -> list[str]:
    """Return jobs without a line of history, and closed ones without their closing."""
    silent = "SELECT id FROM jobs WHERE id NOT IN (SELECT job_id FROM history WHERE verb = 'open')"
    open_ended = (
        "SELECT id FROM jobs WHERE (state = 'closed') <> (id IN (SELECT job_id FROM closings))"
    )
    found = [*database.execute(silent), *database.execute(open_ended)]
    return [f"job {row}: without its history or its closing" for (row,) in found]


def _wrong_photos(folder: Path, hashes: Iterable[str]) -> list[str]:
    wrong = []
    for known in hashes:
        file = folder / known[:2] / f"{known}.jpg"
        if not file.is_file() or hashlib.sha256(file.read_bytes()).hexdigest() != known:
            wrong.append(f"photo {known}: missing or changed")
    return wrong


def kill_servers(cycles: int, *, seed: int = 1, folder: Path | None = None) -> Tally:
    """Kill a server ``cycles`` times and return what came of it; shops with troubles are kept."""
    tally, chance, begun = Tally(), random.Random(seed), time.monotonic()
    root = Path(tempfile.mkdtemp(prefix="baybook-kill-", dir=folder))
    warm_up(root / "warm")
    while tally.cycles < cycles and len(tally.troubles) < 20:
        home, before = root / f"shop{tally.cycles}", len(tally.troubles)
        shop = Shop(home, chance, tally)
        for _ in range(min(CYCLES_OF_A_SHOP, cycles - tally.cycles)):
            shop.cycle()
        shop.read_whole()
        if len(tally.troubles) == before:
            shutil.rmtree(home)
        tally.seconds = round(time.monotonic() - begun, 1)
        if tally.cycles % 500 == 0:
            print(summary(tally), flush=True)
    if not tally.troubles:
        shutil.rmtree(root)
    return tally


def summary(tally: Tally) -> str:
    """Return the tally as one line of JSON."""
    numbers = vars(tally) | {"acknowledged_in_all": tally.acknowledged.total()}
    return json.dumps(
        {k: (len(v) if isinstance(v, list) else v) for k, v in numbers.items()}, sort_keys=True
    )


def main() -> None:
    """Print what came of the cycles, and each trouble."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--cycles", type=int, default=300)
    asked.add_argument("--seed", type=int, default=1)
    given = asked.parse_args()
    tally = kill_servers(given.cycles, seed=given.seed)
    for line in tally.troubles:
        print(line)
    print(summary(tally))
    # Without one acknowledged form nothing was looked at.
    sys.exit(bool(tally.troubles) or not tally.acknowledged)


if __name__ == "__main__":
    main()
