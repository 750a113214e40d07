"""The programs that copy a database of PostgreSQL, run so that no command line shows a password."""

import os
import shutil
import subprocess
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from sqlalchemy.engine import make_url

from kb.errors import StoreError
from kb.store.engine import make_engine


def dump(url: str, target: Path, *, snapshot: str, tables: list[str], bare: list[str]) -> None:
    """Write tables into ``target`` by pg_dump, in its own packed form.

    Parameters
    ----------
    url : str
        The database.
    target : Path
        A file, readable by its owner alone.
    snapshot : str
        The state to write, as an open transaction exported it.
    tables, bare : list of str
        Names as patterns of pg_dump: the tables, and those of them that go without their rows.

    Raises
    ------
    StoreError
        If pg_dump is not installed, or fails.
    """
    target.touch(mode=0o600)
    words = ["--format=custom", "--no-owner", "--no-privileges", f"--snapshot={snapshot}"]
    words += [f"--table={name}" for name in tables]
    words += [f"--exclude-table-data={name}" for name in bare]
    _run("pg_dump", url, [*words, f"--file={target}"])


def load(url: str, source: Path) -> None:
    """Write what ``dump`` made into the database at ``url``: all of it, or nothing.

    Raises
    ------
    StoreError
        If pg_restore is not installed, or fails.
    """
    words = ["--no-owner", "--no-privileges", "--exit-on-error", "--single-transaction"]
    _run("pg_restore", url, [*words, str(source)])


def _run(program: str, url: str, words: list[str]) -> None:
    found = shutil.which(program)
    if found is None:
        raise StoreError(
            f"expected the program {program}, got none on this machine; "
            "run apt-get install postgresql-client, then try again"
        )
    place, secret = _place(url)
    ended = subprocess.run(  # noqa: S603 - no shell; the words are this module's own
        [found, f"--dbname={place}", "--no-password", *words],
        env={**os.environ, **secret},
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        errors="replace",
        check=False,
    )
    if ended.returncode != 0:
        said = (ended.stderr.strip().splitlines() or ["nothing"])[0]
        raise StoreError(
            f"expected {program} to copy the database, got: {said}; "
            "see that its version is not below the server's, and that BAYBOOK_DB is right"
        )


def _place(url: str) -> tuple[str, Mapping[str, str]]:
    """Return what names a database on a command line, and what is for the environment alone.

    Without a password in the URL the programs look into ``PGPASSWORD`` and ``~/.pgpass``.
    """
    from psycopg.conninfo import make_conninfo  # noqa: PLC0415 - not there without PostgreSQL

    engine = make_engine(url)
    engine.dispose()
    _, known = engine.dialect.create_connect_args(make_url(url))
    told: dict[str, Any] = dict(known)
    # What the driver of this program takes and no program of the server knows.
    told.pop("context", None)
    secret = {"PGPASSWORD": str(told.pop("password"))} if told.get("password") else {}
    if "sslpassword" in told:
        raise StoreError(
            "expected a database URL without sslpassword, since command lines are seen by others; "
            "take a key file without a password that its owner alone reads"
        )
    return make_conninfo(**told), secret
