"""The store and the fitted memory of one running program."""

import re
from collections.abc import Hashable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import cast

from flask import Flask, current_app, g, has_request_context, request
from flask.ctx import _AppCtxGlobals
from werkzeug.local import LocalProxy

from kb.case.terms import Vocabulary, load_vocabulary
from kb.errors import ParseError
from kb.store.engine import Store, open_store
from kb.store.journal import HistoryLine
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.jobs import MAX_TEXT
from kb.workflow.memory import Memory
from kb.workflow.undo import written_since
from web.auth import person
from web.workers import spreading

FORM_ID = re.compile(r"[0-9a-f]{32}")
# More digits than a job is ever written times; longer texts of digits are no number to Python.
_REVISION = re.compile(r"[0-9]{1,9}")

# Every word of a page is asked for: what stands behind the proxy says it in a fifth of its time.
_KEPT = cast("LocalProxy[_AppCtxGlobals]", g)


class AlreadySentError(Exception):
    """The same form was taken before; ``job_id`` names the job that it wrote, if any."""

    def __init__(self, job_id: str | None) -> None:
        super().__init__(job_id)
        self.job_id = job_id


class SentByOtherError(Exception):
    """A form of that number was taken from somebody else; it says nothing about this one."""


class ChangedSinceError(Exception):
    """Somebody wrote the job after the form was shown; ``lines`` say what, ``now`` the revision."""

    def __init__(self, job_id: str, lines: tuple[HistoryLine, ...], now: int) -> None:
        super().__init__(job_id)
        self.job_id, self.lines, self.now = job_id, lines, now


def init_app(app: Flask) -> None:
    """Open the store once; the memory follows its generation."""
    store = open_store(app.config["STORE_URL"], home=Path(app.config["HOME"]))
    words = load_vocabulary()
    memory = Memory(
        store,
        words,
        altitude_m=float(app.config["ALTITUDE_M"]),
        folder=Path(app.config["HOME"]),
        spread=spreading(app.config),
    )
    app.extensions["baybook"] = memory


def memory() -> Memory:
    """Return the memory of the running program."""
    return cast(Memory, current_app.extensions["baybook"])


def fitted_mark() -> Hashable:
    """Return what the answers for a job follow from, besides the job itself."""
    fitted = memory().fitted()
    return (fitted.state, fitted.terms, fitted.learned, fitted.later)


def words() -> Vocabulary:
    """Return the trade's words with the shop's own, as they stood when this request first asked."""
    known = _KEPT._get_current_object().get("words")  # noqa: SLF001
    if known is None:
        known = memory().words
        if has_request_context():
            g.words = known
    return cast(Vocabulary, known)


def store() -> Store:
    """Return the store of the running program."""
    return memory().store


@contextmanager
def writing() -> Iterator[UnitOfWork]:
    """Commit all that one request writes, or nothing.

    Raises
    ------
    ParseError
        If a field is longer than any that a job keeps, or holds a sign that no database keeps.
    AlreadySentError
        If a form with this ``form_id`` was taken before.
    SentByOtherError
        If it was taken from somebody else.
    ChangedSinceError
        If the form names the ``revision`` of the job that it was filled from, and it is not the
        present one.
    """
    _refuse_unkept()
    form_id = request.form.get("form_id", "")
    with store().write(person().name, datetime.now(UTC)) as unit:
        _refuse_sent(unit, form_id)
        _refuse_changed(unit)
        yield unit
        if FORM_ID.fullmatch(form_id):
            unit.sent.add(form_id, unit.jobs.first_written)
    # What was written may be a word.
    g.pop("words", None)


def _refuse_unkept() -> None:
    for name, value in request.form.items(multi=True):
        if "\0" in name or "\0" in value:
            raise ParseError("expected words and numbers, got a sign that cannot be stored")
        if len(value) > MAX_TEXT:
            raise ParseError(
                f"expected at most {MAX_TEXT} characters in one field, got {len(value)}; "
                "say it shorter"
            )


def _refuse_sent(unit: UnitOfWork, form_id: str) -> None:
    sender = unit.sent.sender_of(form_id) if FORM_ID.fullmatch(form_id) else None
    if sender == person().name:
        raise AlreadySentError(unit.sent.job_of(form_id))
    if sender is not None:
        raise SentByOtherError


def _refuse_changed(unit: UnitOfWork) -> None:
    seen, job_id = request.form.get("revision", ""), (request.view_args or {}).get("job_id")
    if not job_id or not _REVISION.fullmatch(seen):
        return
    now = unit.jobs.revision(job_id)
    if now != int(seen):
        raise ChangedSinceError(job_id, written_since(unit, job_id, int(seen)), now)


def today() -> date:
    """Return the shop's date."""
    return datetime.now().astimezone().date()
