"""Errors as RFC 9457 problems: the same words as on the pages, for a program to read."""

import math
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from http import HTTPStatus
from typing import Any, Final

from flask import Blueprint, Response, g
from pydantic import ValidationError
from werkzeug.exceptions import HTTPException, SecurityError

from kb.errors import (
    ConflictError,
    EmptyIndexError,
    FieldsError,
    KBError,
    NoRoomError,
    NotFoundError,
    NotProvenError,
    SignInError,
    StoreError,
    TooManyTriesError,
)
from kb.store.faults import no_room
from web.api.told import Problem, WrongPlace

MEDIA_TYPE: Final = "application/problem+json"
# Seconds after which a program may ask a busy or full store again (our choice).
AGAIN_S: Final = 5
_STATUS: Final = {
    NotFoundError: 404,
    EmptyIndexError: 404,
    ConflictError: 409,
    SignInError: 401,
    TooManyTriesError: 429,
    StoreError: 503,
    NoRoomError: 507,
}
# Where a body names what a close lacks.
_PLACES: Final = {"cause": "cause", "proof": "proofs"}
_PLAIN: Final = {
    403: "expected a request from this machine's own pages or from no page, got one from elsewhere",
    404: "expected an address of the API, got one that leads nowhere; /api/v1/openapi.json lists all",
    405: "expected one of the methods that Allow names, got another",
    413: "expected a shorter body, got one over the limit; send it in parts",
    500: "expected an answer, got a fault; send it again under the same key, and tell "
    "whoever looks after this program the number {fault}",
}


class RefusedError(Exception):
    """A request that is refused with a status and words; ``headers`` go along."""

    def __init__(
        self,
        status: int,
        detail: str,
        *,
        errors: Iterable[WrongPlace] = (),
        headers: Mapping[str, str] | None = None,
    ) -> None:
        super().__init__(detail)
        self.status, self.detail = status, detail
        self.errors, self.headers = tuple(errors), dict(headers or {})


def problem(
    status: int,
    detail: str,
    *,
    errors: Iterable[WrongPlace] = (),
    headers: Mapping[str, str] | None = None,
) -> Response:
    """Return a problem as an answer."""
    told = Problem(
        title=HTTPStatus(status).phrase, status=status, detail=detail, errors=tuple(errors)
    )
    answer = Response(told.model_dump_json(), status, mimetype=MEDIA_TYPE)
    for name, value in (headers or {}).items():
        answer.headers[name] = value
    return answer


def places(error: ValidationError) -> tuple[WrongPlace, ...]:
    """Return where a body or a question is not as expected; what it said is not repeated."""
    rows = error.errors(include_url=False, include_context=False, include_input=False)
    return tuple(WrongPlace(loc=row["loc"], msg=row["msg"]) for row in rows)


def of_kb(error: KBError) -> Response:
    """Return an error that is meant for a person as a problem."""
    # A kind of error that is not named here answers as the nearest that is.
    kinds = (_STATUS[kind] for kind in type(error).__mro__ if kind in _STATUS)
    status = next(kinds, 422)
    headers = {}
    if isinstance(error, TooManyTriesError):
        left = (error.again_at - datetime.now(UTC)).total_seconds()
        headers["Retry-After"] = str(max(1, math.ceil(left)))
    elif isinstance(error, StoreError):
        headers["Retry-After"] = str(AGAIN_S)
    return problem(status, _said(error), errors=_fields(error), headers=headers)


def _said(error: KBError) -> str:
    if isinstance(error, NotProvenError):
        # The words of the error name options of the command line.
        return f"expected a cause and a proof, got no {' and no '.join(error.missing)}; add it"
    return str(error)


def _fields(error: KBError) -> tuple[WrongPlace, ...]:
    if isinstance(error, FieldsError):
        return tuple(WrongPlace(loc=(name,), msg=msg) for name, msg in error.by_field.items())
    if isinstance(error, NotProvenError):
        return tuple(WrongPlace(loc=(_PLACES[name],), msg=_said(error)) for name in error.missing)
    return ()


def of_http(error: HTTPException) -> Response:
    """Return an error of the server as a problem, with its own headers such as ``Allow``."""
    status = error.code or 500
    kept = {name: value for name, value in error.get_headers() if name != "Content-Type"}
    said = _PLAIN.get(status, error.description or "").replace("{fault}", g.get("fault_id", "none"))
    return problem(status, said, headers=kept)


def init_blueprint(bp: Blueprint) -> None:
    """Answer every error of the blueprint with a problem."""

    @bp.errorhandler(RefusedError)
    def on_refusal(error: RefusedError) -> Response:
        return problem(error.status, error.detail, errors=error.errors, headers=error.headers)

    @bp.errorhandler(KBError)
    def on_kb_error(error: KBError) -> Response:
        return of_kb(error)

    @bp.errorhandler(OSError)
    def on_full_disk(error: OSError) -> Response:
        full = no_room(error)
        if full is None:
            # A fault like any other.
            raise error
        return of_kb(full)

    @bp.errorhandler(SecurityError)
    def on_foreign_host(_: Any) -> Response:
        return problem(400, "expected the address of this machine, got another name")

    @bp.errorhandler(HTTPException)
    def on_http_error(error: HTTPException) -> Response:
        return of_http(error)
