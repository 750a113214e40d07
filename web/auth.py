"""Who sends a request, and whether the route is open to that person."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar, cast

from flask import Flask, abort, current_app, g, request

from web.rights import RIGHTS, Right, Role

View = TypeVar("View", bound=Callable[..., Any])
_RIGHT = "_baybook_right"


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody who is signed in."""

    name: str
    role: Role

    def may(self, right: Right) -> bool:
        """Say whether this person's role holds ``right``."""
        return right in RIGHTS[self.role]


def needs(right: Right | None) -> Callable[[View], View]:
    """State the right that a route asks for; None leaves it open to anybody."""

    def mark(view: View) -> View:
        setattr(view, _RIGHT, right)
        return view

    return mark


def right_of(app: Flask, endpoint: str) -> Right | None:
    """Return the right that a route states.

    Raises
    ------
    AttributeError
        If it states none: such a route is a mistake and stays shut.
    """
    if endpoint == "static":
        return None
    return cast("Right | None", getattr(app.view_functions[endpoint], _RIGHT))


def person() -> Person:
    """Return who sends this request."""
    return cast(Person, g.person)


def init_app(app: Flask) -> None:
    """Ask every request who sends it."""

    @app.before_request
    def check() -> None:
        g.person = Person(name="shop", role=Role.OWNER)
        if request.endpoint is None:
            return
        right = right_of(current_app, request.endpoint)
        if right is not None and not person().may(right):
            abort(403)

    app.add_template_global(person)
