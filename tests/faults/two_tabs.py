"""Two tabs on one job, each at a server process of its own, in every order: is an update lost?

Run as ``python -m tests.faults.two_tabs --interleavings N [--engine ENGINE]``. A tab reads the job's
page and sends a form with the revision that stood on it. An update is lost where a form was taken
though somebody else had written since its page was read.
"""

import argparse
import random
import re
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from uuid import uuid4

from kb.store.engine import Store, default_url, open_store
from tests.factories import a_job, make_store
from tests.faults.forked import ForkedServer, Line
from tests.postgres import running_server, server_programs
from tests.web.conftest import session_for
from web.rights import Role

# Every order of two tabs that read (small) and send (capital); "=" sends both at the same time.
ORDERS = ("aAbB", "abAB", "abBA", "baAB", "baBA", "bBaA", "ab=", "ab=")
# Interleavings on one job before the next: its page stays short (our choice).
OF_ONE_JOB = 25
TAKEN, REFUSED = 302, 409
_REVISION = re.compile(r'name="revision" value="([0-9]+)"')


@dataclass(frozen=True, slots=True, kw_only=True)
class Tried:
    """A form that was sent: what it said, the revision it was filled from, the answer's status."""

    job: str
    said: str
    seen: int
    status: int


class Tab:
    """One tab of a browser, at one server."""

    def __init__(self, port: int, session: str) -> None:
        self.line = Line(port, session, seconds=120.0)
        self.line.sign_in()
        self.seen = 0

    def read(self, job: str) -> None:
        """Look at the job's page and keep the revision of its forms."""
        status, _, page = self.line.ask("GET", f"/job/{job}")
        assert status == 200, page
        (revision,) = set(_REVISION.findall(page.decode()))
        self.seen = int(revision)

    def send(self, job: str, into: list[Tried]) -> None:
        """Send the form that was read, with words that stand nowhere else."""
        said = uuid4().hex
        fields = {"waits_for": said, "revision": str(self.seen), "form_id": uuid4().hex}
        status, _, _ = self.line.post(f"/job/{job}/wait", fields)
        into.append(Tried(job=job, said=said, seen=self.seen, status=status))


def interleave(tabs: dict[str, Tab], order: str, job: str) -> list[Tried]:
    """Let two tabs read and send in one order, and return what came of each form."""
    sent: list[Tried] = []
    for step in order:
        if step == "=":
            both = [threading.Thread(target=tab.send, args=(job, sent)) for tab in tabs.values()]
            for thread in both:
                thread.start()
            for thread in both:
                thread.join()
        elif step.isupper():
            tabs[step.lower()].send(job, sent)
        else:
            tabs[step].read(job)
    return sent


@contextmanager
def _two_tabs(home: Path, url: str, session: str) -> Iterator[dict[str, Tab]]:
    """Yield two tabs, each at a process of its own over one database."""
    with ExitStack() as stack:
        servers = []
        for _ in range(2):
            servers.append(ForkedServer(home, settings={"STORE_URL": url}))
            stack.callback(servers[-1].kill)
        tabs = {name: Tab(one.port, session) for name, one in zip("ab", servers, strict=True)}
        for tab in tabs.values():
            stack.callback(tab.line.close)
        yield tabs


def run(home: Path, url: str, interleavings: int, *, seed: int = 1) -> list[Tried]:
    """Run so many interleavings in the shop at ``url`` and return every form that was sent."""
    home.mkdir(parents=True, exist_ok=True)
    jobs = [f"T{number:05d}" for number in range(-(-interleavings // OF_ONE_JOB))]
    with open_store(url) as store:
        session = str(session_for(store, Role.OWNER))
        with store.write("Ines", datetime.now(UTC)) as unit:
            unit.jobs.add_many([a_job(job) for job in jobs], verb="open")
    draw = random.Random(seed)
    sent: list[Tried] = []
    with _two_tabs(home, url, session) as tabs:
        for number in range(interleavings):
            sent += interleave(tabs, draw.choice(ORDERS), jobs[number // OF_ONE_JOB])
    return sent


def lost(store: Store, sent: list[Tried]) -> list[Tried]:
    """Return the forms that were taken over another's words, or taken and not kept."""
    found = []
    for job in sorted({form.job for form in sent}):
        with store.read() as unit:
            kept = [line.what for line in unit.history.of(job) if line.verb == "wait"]
            assert unit.jobs.revision(job) == 1 + len(kept)
        # The form that made revision n + 1 must have been filled from revision n.
        from_revision = {said: revision for revision, said in enumerate(kept, start=1)}
        taken = [form for form in sent if form.job == job and form.status == TAKEN]
        found += [form for form in taken if from_revision.get(form.said) != form.seen]
        assert len(taken) == len(kept), "no word is kept that was refused"
    return found


def _report(engine: str, url: str, home: Path, interleavings: int) -> int:
    sent = run(home, url, interleavings)
    with open_store(url) as store:
        gone = len(lost(store, sent))
    taken = sum(form.status == TAKEN for form in sent)
    refused = sum(form.status == REFUSED for form in sent)
    print(
        f"{engine}: {interleavings} interleavings, {len(sent)} forms, {taken} taken, {refused} "
        f"refused with 409, {len(sent) - taken - refused} others, {gone} updates lost"
    )
    return gone + len(sent) - taken - refused


def main() -> int:
    """Run on one engine or both; the exit code says whether anything was lost."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--interleavings", type=int, default=1000)
    parser.add_argument("--engine", choices=["sqlite", "postgresql", "both"], default="both")
    asked = parser.parse_args()
    bad = 0
    with tempfile.TemporaryDirectory() as folder:
        if asked.engine != "postgresql":
            home = Path(folder, "sqlite")
            make_store(default_url(home))
            bad += _report("sqlite", default_url(home), home, asked.interleavings)
        if asked.engine != "sqlite":
            programs = server_programs()
            assert programs is not None, "expected an installed PostgreSQL server"
            with running_server(programs) as server, server.database() as url:
                bad += _report("postgresql", url, Path(folder, "pg"), asked.interleavings)
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
