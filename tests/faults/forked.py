"""A shop's server in a process of its own, and a browser's half of the line to it.

The server is forked from a process that has imported everything, so that one can be started and
killed thousands of times.
"""

import http.client
import os
import shutil
import signal
import socket
import sys
from collections.abc import Callable, Mapping
from io import BytesIO
from pathlib import Path
from urllib.parse import urlencode
from uuid import uuid4

from waitress import create_server

from kb.store.engine import default_url, open_store
from tests.factories import a_picture, make_store
from tests.web.conftest import QUICK, Browser, session_for
from tests.web.test_jobs import CLOSE
from web import create_app
from web.auth import COOKIE
from web.rights import Role

# Status, location and body.
Answer = tuple[int, str, bytes]


def make_shop(home: Path) -> str:
    """Make an empty shop in ``home`` and return the token of its owner's session."""
    home.mkdir(parents=True)
    make_store(default_url(home))
    with open_store(default_url(home)) as store:
        return str(session_for(store, Role.OWNER))


def warm_up(home: Path) -> None:
    """Open, fill and close a job in this process: what is read once is read before the forks."""
    session = make_shop(home)
    app = create_app({"HOME": home, "STORE_URL": default_url(home), "HASHER": QUICK})
    browser = Browser(app, session)
    job = browser.opened("no crank; batt 12.4 V")
    browser.send(f"/job/{job}/add", text="low 58 hi 318")
    browser.send(f"/job/{job}/photo", photo=(BytesIO(a_picture()), "p.jpg"))
    closed = browser.send(f"/job/{job}/close", **CLOSE)
    assert closed.status_code == 302, closed.text
    browser.page(f"/case/{job}")
    # No connection of this process may live on in a child.
    app.extensions["baybook"].store.close()
    shutil.rmtree(home)


def server_log(home: Path) -> str:
    """Return what the servers of a shop wrote to their log."""
    return (home / "server.log").read_text(encoding="utf-8", errors="replace")


class ForkedServer:
    """One server process over the shop in ``home``; ``before`` runs in it before it opens anything.

    Fork only while no other thread of this process runs.
    """

    def __init__(
        self,
        home: Path,
        *,
        before: Callable[[], None] | None = None,
        settings: Mapping[str, object] | None = None,
    ) -> None:
        self.home, self.before, self.settings = home, before, dict(settings or {})
        listening = socket.socket()
        listening.bind(("127.0.0.1", 0))
        listening.listen(64)
        self.port = listening.getsockname()[1]
        sys.stdout.flush()
        sys.stderr.flush()
        self.pid = os.fork()
        if self.pid == 0:
            self._serve(listening)
        # Only the child holds it: with the child the line is gone.
        listening.close()

    def _serve(self, listening: socket.socket) -> None:
        status = 1
        try:
            with (self.home / "server.log").open("ab") as log:
                os.dup2(log.fileno(), 1)
                os.dup2(log.fileno(), 2)
            if self.before:
                self.before()
            known = {"HOME": self.home, "STORE_URL": default_url(self.home), "HASHER": QUICK}
            app = create_app(known | self.settings)
            create_server(app, sockets=[listening], threads=4, ident=None).run()
            status = 0
        finally:
            # Nothing of the parent's own may run on here, whatever went wrong.
            os._exit(status)

    def kill(self) -> None:
        """End the process as a power cut would: at once."""
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)


class Line:
    """One browser's connection, signed in as the owner."""

    def __init__(self, port: int, session: str, *, seconds: float = 30.0) -> None:
        self.port, self.seconds = port, seconds
        self.cookies = {COOKIE: session}
        self.token = ""
        self.open = http.client.HTTPConnection("127.0.0.1", port, timeout=seconds)

    def headers(self, kind: str | None = None) -> dict[str, str]:
        """Return what a browser sends above a request."""
        cookie = "; ".join(f"{name}={value}" for name, value in self.cookies.items())
        return {"Cookie": cookie} | ({"Content-Type": kind} if kind else {})

    def ask(self, method: str, path: str, body: bytes | None = None, kind: str = "") -> Answer:
        """Return status, location and body of the answer.

        Raises
        ------
        OSError, http.client.HTTPException
            If the line broke before the whole answer came.
        """
        self.open.request(method, path, body, self.headers(kind or None))
        answer = self.open.getresponse()
        data = answer.read()
        for line in answer.headers.get_all("Set-Cookie") or []:
            name, _, value = line.partition(";")[0].partition("=")
            self.cookies[name] = value
        return answer.status, answer.headers.get("Location") or "", data

    def sign_in(self) -> None:
        """Fetch the token that forms need; it stays good for other servers of the same shop."""
        _, _, page = self.ask("GET", "/me")
        self.token = page.decode().split('name="csrf_token" value="', 1)[1].split('"', 1)[0]

    def post(self, path: str, fields: Mapping[str, str], photo: bytes | None = None) -> Answer:
        """Send a form; with ``photo`` as a browser sends files."""
        known = {"csrf_token": self.token, **fields}
        if photo is None:
            kind = "application/x-www-form-urlencoded"
            return self.ask("POST", path, urlencode(known).encode(), kind)
        return self.ask("POST", path, *with_photo(known, photo))

    def close(self) -> None:
        """Hang up."""
        self.open.close()


def with_photo(fields: Mapping[str, str], photo: bytes) -> tuple[bytes, str]:
    """Return body and content type of a form that carries a file."""
    mark = uuid4().hex
    parts = [
        f'--{mark}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, value in fields.items()
    ]
    head = 'Content-Disposition: form-data; name="photo"; filename="p.jpg"'
    parts.append(f"--{mark}\r\n{head}\r\nContent-Type: image/jpeg\r\n\r\n".encode() + photo)
    body = b"".join([*parts, f"\r\n--{mark}--\r\n".encode()])
    return body, f"multipart/form-data; boundary={mark}"
