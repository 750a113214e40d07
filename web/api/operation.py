"""One operation of the API: who may, what it takes, what it tells; checked before it is called."""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import wraps
from typing import Any, Final, TypeVar, cast

from flask import Flask, Response, g, request
from pydantic import BaseModel, ValidationError
from werkzeug.datastructures import MultiDict

from kb.workflow.tokens import Program, Scope, admit
from web import db
from web.api.problems import RefusedError, places
from web.api.shapes import Asked
from web.auth import Person, now
from web.event_log import Event, note
from web.rights import Role

_OPERATION: Final = "_baybook_operation"
KEY_HEADER: Final = "Idempotency-Key"
# As long as the draft standard's own examples are short; a UUID has 36 (our choice).
KEY_MAX: Final = 100
KEY: Final = re.compile(rf"[!-~]{{1,{KEY_MAX}}}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What a view tells: a body, its status, its headers."""

    body: BaseModel
    status: int = 200
    headers: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Operation:
    """What the description says of a route, and what is checked before its view is called.

    ``keyed`` operations take an ``Idempotency-Key``; ``picture`` ones take or tell a picture.
    """

    scope: Scope | None
    gives: Mapping[int, type[BaseModel] | None]
    query: type[Asked] | None = None
    body: type[Asked] | None = None
    keyed: bool = False
    picture: bool = False


View = Callable[..., Answer | Response]
A = TypeVar("A", bound=Asked)


def operation(stated: Operation) -> Callable[[View], Callable[..., Response]]:
    """State an operation; its view gets ``query`` and ``body`` where the operation takes them."""

    def mark(view: View) -> Callable[..., Response]:
        @wraps(view)
        def run(**path: str) -> Response:
            known: dict[str, Any] = dict(path)
            if stated.query is not None:
                known["query"] = read_query(stated.query)
            elif request.args:
                raise RefusedError(
                    400, "expected no question in the address, got one; leave it out"
                )
            if stated.body is not None:
                known["body"] = read_body(stated.body)
            told = view(**known)
            return told if isinstance(told, Response) else sent(told)

        setattr(run, _OPERATION, stated)
        return run

    return mark


def operation_of(app: Flask, endpoint: str) -> Operation:
    """Return what a route states.

    Raises
    ------
    AttributeError
        If it states nothing: such a route is a mistake and stays shut.
    """
    return cast(Operation, getattr(app.view_functions[endpoint], _OPERATION))


def sent(told: Answer) -> Response:
    """Return what a view tells as an answer."""
    answer = Response(told.body.model_dump_json(), told.status, mimetype="application/json")
    for name, value in told.headers.items():
        answer.headers[name] = value
    return answer


# --- who -----------------------------------------------------------------------------------------


def program() -> Program:
    """Return the program that sends this request; operations that state a scope have one."""
    return cast(Program, g.program)


def let_in(stated: Operation) -> None:
    """Find the program by its token, and refuse one that may not.

    Raises
    ------
    RefusedError
        401 without a token, 403 for one without the scope.
    SignInError
        For a token that is not good.
    """
    if stated.scope is None:
        return
    kind, _, secret = request.headers.get("Authorization", "").partition(" ")
    if kind.lower() != "bearer" or not secret.strip():
        raise RefusedError(
            401,
            "expected the header Authorization with Bearer and a token, got none; ask the owner",
            headers={"WWW-Authenticate": "Bearer"},
        )
    address = request.remote_addr or "unknown"
    found = admit(db.store(), secret.strip(), address=address, at=now())
    g.program = found
    # What other rooms of the site ask for is a name; a program holds no role's rights.
    g.person = Person(name=found.who, role=Role.VIEWER)
    if stated.scope not in found.scopes:
        note(Event.ROLE_REFUSED)
        raise RefusedError(
            403,
            f"expected a token made with '{stated.scope}', got one with "
            f"{', '.join(sorted(found.scopes))}; ask the owner for another",
            headers={
                "WWW-Authenticate": f'Bearer error="insufficient_scope", scope="{stated.scope}"'
            },
        )


# --- what ----------------------------------------------------------------------------------------


def read_query(model: type[A]) -> A:
    """Return the question in the address.

    Raises
    ------
    RefusedError
        400 where it is not as described, or names something twice.
    """
    args: MultiDict[str, str] = request.args
    if twice := [name for name, values in args.lists() if len(values) > 1]:
        raise RefusedError(400, f"expected each name once, got '{twice[0][:40]}' several times")
    try:
        return model.model_validate_strings(args.to_dict())
    except ValidationError as error:
        raise RefusedError(
            400,
            "expected a question as /api/v1/openapi.json describes it, got another; look at errors",
            errors=places(error),
        ) from error


def read_body(model: type[A]) -> A:
    """Return the body.

    Raises
    ------
    RefusedError
        415 where it is no JSON by its type, 422 where it is not as described.
    """
    if request.mimetype != "application/json":
        raise RefusedError(
            415,
            f"expected a body of the type application/json, got '{request.mimetype[:60]}'",
            headers={"Accept": "application/json"},
        )
    try:
        return model.model_validate_json(request.get_data(cache=False))
    except ValidationError as error:
        raise RefusedError(
            422,
            "expected a body as /api/v1/openapi.json describes it, got another; look at errors",
            errors=places(error),
        ) from error
