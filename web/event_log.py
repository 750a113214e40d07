"""What is written down about sign-ins, refusals and faults: one JSON object a line, a file a day.

A line never holds a password, a PIN, a token, an address of a page (it can be a sign-in link) or a
name that nobody in the shop has (people type passwords there by mistake).
"""

import json
import os
from collections.abc import Callable
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum
from pathlib import Path
from typing import Final, cast

from flask import Flask, current_app, g, request

# How long a day's file is kept, and how long it may grow: who floods the log fills no disk (our
# choice).
DAYS_KEPT: Final = 90
MAX_BYTES: Final = 10_000_000
# Characters of one value (our choice).
_MAX_VALUE: Final = 200


class Event(StrEnum):
    """What happened."""

    SIGNED_IN = "signed in"
    SIGNED_OUT = "signed out"
    SIGN_IN_REFUSED = "sign-in refused"
    SIGN_IN_PAUSED = "sign-in paused after too many tries"
    LINK_REFUSED = "link refused"
    SESSION_REFUSED = "session refused"
    SECRETS_CHANGED = "password, PIN or one-time code changed"
    ROLE_REFUSED = "refused for the role"
    FORM_REFUSED = "form without its token refused"
    ORIGIN_REFUSED = "form from elsewhere refused"
    HOST_REFUSED = "foreign name refused"
    TOKEN_REFUSED = "token of a program refused"  # noqa: S105 - words, not a token
    FAULT = "fault"


class EventLog:
    """Appends lines to a file for each day (UTC) in a folder; several processes may.

    Parameters
    ----------
    folder : Path
        Made, for the owner alone, with the first line.
    clock : callable
        Returns the moment, with a zone.
    """

    def __init__(self, folder: Path, *, clock: Callable[[], datetime]) -> None:
        self._folder = folder
        self._clock = clock

    def note(self, event: Event, **values: str | int | None) -> None:
        """Write one line; values that are None stay out.

        Raises
        ------
        OSError
            If the file cannot be written.
        """
        at = self._clock().astimezone(UTC)
        line: dict[str, str | int] = {"at": at.isoformat(timespec="milliseconds"), "event": event}
        line |= {key: value for key, value in values.items() if value is not None}
        self._append(at, line)

    def _append(self, at: datetime, line: dict[str, str | int]) -> None:
        self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        path = self._folder / f"{at.date().isoformat()}.jsonl"
        if not path.exists():
            self._forget_before(at.date() - timedelta(days=DAYS_KEPT))
        # One write in append mode: lines of several processes never mix.
        file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
        try:
            size = os.fstat(file).st_size
            if size < MAX_BYTES:
                os.write(file, _encoded(line))
        finally:
            os.close(file)

    def _forget_before(self, day: date) -> None:
        for path in self._folder.glob("*.jsonl"):
            with suppress(ValueError):
                if date.fromisoformat(path.stem) < day:
                    path.unlink(missing_ok=True)


def _encoded(line: dict[str, str | int]) -> bytes:
    """Return one line; JSON in ASCII, so that no value can end a line or steer a terminal."""
    short = {
        key: value[:_MAX_VALUE] if isinstance(value, str) else value for key, value in line.items()
    }
    return (json.dumps(short, ensure_ascii=True) + "\n").encode("ascii").replace(b"\x7f", b"")


def note(event: Event, *, who: str | None = None, **values: str | int | None) -> None:
    """Write down what happened to the present request; a log that cannot be written stops nobody.

    Parameters
    ----------
    who : str, optional
        Somebody of the shop; who is signed in unless told otherwise.
    """
    person = g.get("person")
    log = cast(EventLog, current_app.extensions["baybook_events"])
    try:
        log.note(
            event,
            who=who or (person.name if person else None),
            address=request.remote_addr,
            method=request.method,
            route=str(request.url_rule) if request.url_rule else None,
            **values,
        )
    except OSError as error:
        current_app.logger.warning("the log of sign-ins cannot be written: %s", error)


def init_app(app: Flask) -> None:
    """Open the log in the folder ``log`` of the shop's data."""

    def clock() -> datetime:
        other = app.config.get("NOW")
        return cast(datetime, other()) if other else datetime.now(UTC)

    app.extensions["baybook_events"] = EventLog(Path(app.config["HOME"]) / "log", clock=clock)
