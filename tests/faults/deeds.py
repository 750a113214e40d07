"""Deeds that need servers of their own, run as ``python -m tests.faults.deeds DEED HOME``.

Each makes a shop in HOME, does its harm, looks at the shop afterwards, and prints numbers.
"""

import http.client
import os
import resource
import socket
import sqlite3
import sys
import threading
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from urllib.parse import urlencode

from kb.store.engine import DATABASE, default_url, open_store
from tests.factories import a_case, a_picture
from tests.faults.forked import ForkedServer, Line, make_shop, warm_up

_BROKEN = (OSError, http.client.HTTPException)
# Room that a server is left beyond what it holds already, in bytes: some forms fit, many do not.
_LITTLE_ROOM = 90_000_000
# Forms of a round before the pictures that eat the room.
_FORMS_FIRST = 4


def texts_of(home: Path) -> list[str]:
    """Return every line that stands on a job."""
    with closing(sqlite3.connect(home / DATABASE)) as database:
        return [text for (text,) in database.execute("SELECT text FROM lines")]


def assert_sound(home: Path) -> None:
    """Fail unless every job is as it was written."""
    with open_store(default_url(home)) as store, store.read() as unit:
        assert unit.jobs.verify_hashes() == ()
    with closing(sqlite3.connect(home / DATABASE)) as database:
        assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert database.execute("PRAGMA foreign_key_check").fetchall() == []


def cut(home: Path) -> None:
    """Cut the line at each byte of one form, and after the last; then send it whole, twice."""
    session = make_shop(home)
    server = ForkedServer(home)
    line = Line(server.port, session)
    line.sign_in()
    fields = {"csrf_token": line.token, "text": "no crank; batt 12.4 V", "form_id": "c" * 32}
    body = urlencode(fields | {"action": "open"}).encode()
    head = {"Host": f"127.0.0.1:{server.port}", "Content-Length": str(len(body))}
    head |= line.headers("application/x-www-form-urlencoded")
    lines = "".join(f"{name}: {value}\r\n" for name, value in head.items())
    whole = f"POST /jobs HTTP/1.1\r\n{lines}\r\n".encode() + body
    for length in range(len(whole) + 1):
        with socket.create_connection(("127.0.0.1", server.port), timeout=10) as cable:
            cable.sendall(whole[:length])
    saved = len(texts_of(home))
    twice = [line.post("/jobs", fields | {"action": "open"})[0] for _ in range(2)]
    refused = sum(status != 302 for status in twice)
    assert len(texts_of(home)) == 1
    server.kill()
    assert_sound(home)
    print(len(whole), saved, refused)


def _little_room() -> None:
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[0])
    most = pages * os.sysconf("SC_PAGE_SIZE") + _LITTLE_ROOM
    resource.setrlimit(resource.RLIMIT_AS, (most, most))


def starve(home: Path, rounds: int = 20) -> None:
    """Let servers run out of memory while forms come in; each next one finds what was said saved."""
    session, told, starved = make_shop(home), list[str](), 0
    for number in range(rounds):
        server = ForkedServer(home, before=_little_room)
        said, failed = _until_starved(server, session, f"round {number}")
        server.kill()
        told += said
        starved += failed
        assert_sound(home)
        assert set(told) <= set(texts_of(home)), "acknowledged and lost"
    server = ForkedServer(home)
    line = Line(server.port, session)
    line.sign_in()
    assert line.post("/jobs", {"text": "no crank", "action": "open"})[0] == 302
    server.kill()
    print(len(told), starved)


def _until_starved(server: ForkedServer, session: str, name: str) -> tuple[list[str], bool]:
    """Send small forms and large photos until one fails; return what was acknowledged."""
    told: list[str] = []
    try:
        line = Line(server.port, session)
        line.sign_in()
        for n in range(2 * _FORMS_FIRST):
            text = f"no crank {name} {n}"
            status, _, _ = line.post("/jobs", {"text": text, "action": "open"})
            if status == 302:
                told.append(text)
            if n < _FORMS_FIRST:
                continue
            status, _, _ = line.post("/job/J000001/photo", {}, _large_picture())
            if status >= 500:
                return told, True
    except (*_BROKEN, IndexError):
        return told, True
    return told, False


@cache
def _large_picture() -> bytes:
    """Return a picture that is small to send and takes a hundred megabytes to draw."""
    return a_picture("PNG", size=(6000, 6000))


def share(home: Path) -> None:
    """Let two servers take forms over four lines while an import runs."""
    session = make_shop(home)
    servers = [ForkedServer(home) for _ in range(2)]
    importer = os.fork()
    if importer == 0:
        _import(home)
    answers: list[int] = []
    senders = [
        threading.Thread(target=_open_thirty, args=(servers[n % 2].port, session, n, answers))
        for n in range(4)
    ]
    for sender in senders:
        sender.start()
    for sender in senders:
        sender.join(timeout=240)
    _, status = os.waitpid(importer, 0)
    for server in servers:
        server.kill()
    assert status == 0, "the import failed"
    assert_sound(home)
    with open_store(default_url(home)) as store, store.read() as unit:
        ids = unit.jobs.ids()
    imported = sum(job_id.startswith("I") for job_id in ids)
    print(len(ids) - imported, imported, sum(status != 302 for status in answers))


def _import(home: Path) -> None:
    """Load thirty jobs at a time, five times; ends this process."""
    code = 1
    try:
        with open_store(default_url(home)) as store:
            for part in range(5):
                jobs = [a_case(f"I{part:02}{n:03}") for n in range(30)]
                with store.write("importer", datetime.now(UTC)) as unit:
                    unit.jobs.add_many(jobs, verb="import")
        code = 0
    finally:
        os._exit(code)


def _open_thirty(port: int, session: str, number: int, answers: list[int]) -> None:
    line = Line(port, session, seconds=60)
    line.sign_in()
    for n in range(30):
        status, _, _ = line.post("/jobs", {"text": f"no crank {number} {n}", "action": "open"})
        answers.append(status)
    line.close()


_DEEDS: dict[str, Callable[..., None]] = {"cut": cut, "starve": starve, "share": share}


def main() -> None:
    """Do the deed of that name."""
    name, home, *more = sys.argv[1:]
    warm_up(Path(home).with_name("warm"))
    _DEEDS[name](Path(home), *map(int, more))


if __name__ == "__main__":
    main()
