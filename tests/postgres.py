"""A PostgreSQL server of the tests' own: started once, one fresh database for each test."""

import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from itertools import count
from pathlib import Path
from typing import Any, Final

import psycopg
from sqlalchemy.engine import URL

from kb.store.migrate import upgrade

# Set where a missing server is a failure, not a skip.
REQUIRE: Final = "BAYBOOK_REQUIRE_POSTGRES"
# How to make a database without tables, and one that cannot hold every sign.
EMPTY: Final = "template0 ENCODING 'UTF8'"
OLD_SIGNS: Final = "template0 ENCODING 'LATIN1' LOCALE_PROVIDER libc LOCALE 'C'"
# Where Debian keeps the programs of a server, the newest version last.
_DEBIAN: Final = Path("/usr/lib/postgresql")
_SUPERUSER: Final = "postgres"
_TEMPLATE: Final = "migrated"
# A server that is not up by then will not come (our choice).
_START_S: Final = 60.0
# Orders words as a dictionary does, not by the numbers of the signs, so that a wrong order shows.
_LOCALE: Final = ("--locale=C.UTF-8", "--locale-provider=icu", "--icu-locale=en")
_SWITCHES: Final = {
    "listen_addresses": "",
    "max_connections": "60",
    # The machine of a test may lose what it wrote.
    "fsync": "off",
    "full_page_writes": "off",
    "synchronous_commit": "off",
    "autovacuum": "off",
    "wal_level": "minimal",
    "max_wal_senders": "0",
}


def server_programs() -> Path | None:
    """Return the folder of ``initdb`` and ``postgres``, None where no server is installed."""
    found = shutil.which("initdb")
    if found is not None:
        return Path(found).resolve().parent
    known = _DEBIAN.glob("*/bin/initdb") if _DEBIAN.is_dir() else ()
    newest = max(known, key=lambda path: float(path.parts[-3]), default=None)
    return newest.parent if newest else None


def _as_server() -> dict[str, Any]:
    """Return how to start its programs: never as root, which PostgreSQL refuses."""
    if os.geteuid() != 0:
        return {}
    return {"user": _SUPERUSER, "group": _SUPERUSER, "extra_groups": []}


class Server:
    """A running server; its databases are reached through a socket in its own folder."""

    def __init__(self, folder: Path, programs: Path) -> None:
        self.folder = folder
        self.programs = programs
        self._numbers = count(1)
        self._ended = ""
        place = {"host": str(folder), "user": _SUPERUSER, "dbname": _SUPERUSER}
        self._admin = psycopg.connect(**place, autocommit=True)  # type: ignore[arg-type]
        self._admin.execute(f"CREATE DATABASE {_TEMPLATE} TEMPLATE {EMPTY}")
        upgrade(self.url(_TEMPLATE))

    def close(self) -> None:
        """End the connection that makes and drops databases."""
        self._admin.close()

    def url(self, name: str) -> str:
        """Return the URL of one database as a shop would write it."""
        asked = {"host": str(self.folder)}
        made = URL.create("postgresql", username=_SUPERUSER, database=name, query=asked)
        return made.render_as_string()

    @contextmanager
    def database(self, like: str = _TEMPLATE) -> Iterator[str]:
        """Yield the URL of a database of one's own, with the shop's tables unless told ``like``."""
        name = f"shop_{next(self._numbers)}"
        # Copying files takes half the time of writing them to the log; new in version 15.
        copied = " STRATEGY FILE_COPY" if self._admin.info.server_version >= 150_000 else ""
        self._admin.execute(f"CREATE DATABASE {name} TEMPLATE {like}{copied}")
        try:
            yield self.url(name)
        finally:
            self._drop_later(name)

    def _drop_later(self, name: str) -> None:
        """Drop the database that ended before this one, and this one when another ends.

        For a connection that was closed just before, PostgreSQL waits a tenth of a second.
        """
        ended, self._ended = self._ended, name
        if ended:
            self._admin.execute(f"DROP DATABASE {ended} WITH (FORCE)")


@contextmanager
def running_server(programs: Path) -> Iterator[Server]:
    """Start a server in a folder of its own and end it afterwards."""
    folder = Path(tempfile.mkdtemp(prefix="bb-pg-"))
    process = None
    try:
        if os.geteuid() == 0:
            shutil.chown(folder, _SUPERUSER, _SUPERUSER)
        data = folder / "data"
        made = ["--auth=trust", f"--username={_SUPERUSER}", "--no-sync", *_LOCALE]
        subprocess.run(
            [programs / "initdb", "-D", data, *made],
            check=True, capture_output=True, cwd=folder, **_as_server(),
        )  # fmt: skip
        switches = [part for pair in _SWITCHES.items() for part in ("-c", "=".join(pair))]
        with (folder / "log").open("wb") as log:
            process = subprocess.Popen(
                [programs / "postgres", "-D", data, "-k", folder, *switches],
                stdout=log, stderr=log, cwd=folder, **_as_server(),
            )  # fmt: skip
        _wait_for(folder)
        with closing(Server(folder, programs)) as server:
            yield server
    finally:
        if process is not None:
            # A fast shutdown: open sessions are ended.
            process.send_signal(2)
            process.wait(timeout=_START_S)
        shutil.rmtree(folder, ignore_errors=True)


def _wait_for(folder: Path) -> None:
    end = time.monotonic() + _START_S
    while True:
        try:
            psycopg.connect(host=str(folder), user=_SUPERUSER, dbname=_SUPERUSER).close()
        except psycopg.OperationalError as error:
            if time.monotonic() > end:
                log = (folder / "log").read_text(encoding="utf-8", errors="replace")
                raise RuntimeError(f"expected a PostgreSQL server, got: {log}") from error
            time.sleep(0.05)
        else:
            return
