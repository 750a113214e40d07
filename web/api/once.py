"""Writes that a program may send again: the same key with the same body is one record.

All of one write is one transaction, and writers queue at the store: a second sending that comes
while the first is under way waits for it and is told the same. What is refused keeps no key, so a
body that was put right may be sent under it.
"""

import json
from collections.abc import Callable
from datetime import UTC, datetime
from hashlib import sha256
from typing import Final

from flask import Response, g, request

from kb.store.unit_of_work import UnitOfWork
from kb.store.writes import ToldBefore
from web import db
from web.api.operation import KEY, KEY_HEADER, KEY_MAX, Answer, program, sent
from web.api.problems import RefusedError
from web.api.shapes import Asked

# Keys of programs stand beside the numbers of forms, and are never taken for one.
_KIND: Final = "api"
_KEPT_HEADERS: Final = ("Location",)


def key_sent() -> str | None:
    """Return the key of this request, None where it has none.

    Raises
    ------
    RefusedError
        400 where it is no key.
    """
    key = request.headers.get(KEY_HEADER)
    if key is None:
        return None
    if not KEY.fullmatch(key):
        raise RefusedError(
            400,
            f"expected {KEY_HEADER} as 1 to {KEY_MAX} letters, digits and signs without blanks, got another; a UUID is "
            "a good one",
        )
    return key


def _require_key() -> str:
    key = key_sent()
    if key is None:
        raise RefusedError(
            400,
            f"expected the header {KEY_HEADER}, got none; send one of your own making, and the "
            "same one when you send this again",
        )
    return key


def once(
    asked: Asked | str, write: Callable[[UnitOfWork], Answer], *, natural: bool = False
) -> Response:
    """Write once and return the answer; sent again, return the answer that was given.

    Parameters
    ----------
    asked : Asked or str
        What is written; a second sending under one key must say the same.
    write : callable
        Writes, and returns what is told.
    natural : bool
        Whether the write is told apart by something of its own, such as an invoice number: then
        a key may be left out.

    Raises
    ------
    RefusedError
        400 without a key where one is needed, 422 where it came with another body before.
    """
    key = key_sent() if natural else _require_key()
    said = asked if isinstance(asked, str) else asked.model_dump_json()
    print_of = sha256(f"{request.method} {request.path}\n{said}".encode()).hexdigest()
    with db.store().write(program().who, datetime.now(UTC)) as unit:
        kept = unit.sent.told(_form_id(key)) if key else None
        if kept is not None:
            return _again(kept, print_of)
        answer = sent(write(unit))
        if key:
            told = ToldBefore(fingerprint=print_of, answer=_text_of(answer))
            unit.sent.add(_form_id(key), unit.jobs.first_written, told)
    # What was written may be a word.
    g.pop("words", None)
    return answer


def _form_id(key: str) -> str:
    """Return what a key of this program is kept under; another program's same key is another one."""
    whose = "\0".join((program().who, key))
    return f"{_KIND}:{sha256(whose.encode()).hexdigest()}"


def _text_of(answer: Response) -> str:
    headers = {name: answer.headers[name] for name in _KEPT_HEADERS if name in answer.headers}
    return json.dumps([answer.status_code, headers, answer.get_data(as_text=True)])


def _again(kept: ToldBefore, print_of: str) -> Response:
    if kept.fingerprint != print_of:
        raise RefusedError(
            422,
            f"expected the same body under the same {KEY_HEADER}, got another; take a new key for "
            "another record",
        )
    status, headers, body = json.loads(kept.answer)
    return Response(body, status, headers=headers, mimetype="application/json")
