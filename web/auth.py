"""Who sends a request, and whether the route is open to that person."""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, Final, TypeVar, cast

from flask import Flask, Response, abort, current_app, g, redirect, request, session, url_for
from werkzeug.wrappers import Response as AnyResponse

from kb.errors import StoreError
from kb.store.engine import Store
from kb.workflow.memory import Memory
from kb.workflow.passwords import Hasher
from kb.workflow.people import token_hash
from kb.workflow.sign_in import (
    Holder,
    find_holder,
    holder_at,
    note_use,
    open_session,
    to_be_noted,
)
from web.api.place import is_api
from web.event_log import Event, note
from web.https import cookie_name
from web.known_sessions import KnownSessions
from web.rights import RIGHTS, Right, Role

View = TypeVar("View", bound=Callable[..., Any])
_RIGHT = "_baybook_right"

COOKIE: Final = "baybook_session"
# The browser keeps its cookie so long; the store decides how long it is good (our choice).
_COOKIE_LIFE: Final = timedelta(days=365)

# A session is noted again by its next page: nobody waits for that (our choice).
_PATIENCE_MS: Final = 50

# What somebody asked before signing in is asked again afterwards; a longer query was no page's own.
_LONGEST_QUERY: Final = 8_000

# Files, and the script's question whether the shop can be reached: not that somebody is there.
_ASKED_BY_NOBODY: Final = frozenset({"static", "sent.ping"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """Somebody who is signed in."""

    name: str
    role: Role
    id: int = 0

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
    """Return who sends this request; routes that state a right have somebody."""
    return cast(Person, g.person)


def signed_in() -> Person | None:
    """Return who sends this request, None where nobody is signed in."""
    return cast("Person | None", g.get("person"))


def on_shared_device() -> bool:
    """Say whether the request comes from a tablet that several hands share."""
    holder = cast("Holder | None", g.get("holder"))
    return holder is not None and holder.session.shared


def now() -> datetime:
    """Return the moment, in UTC; the setting ``NOW`` is another clock."""
    clock = current_app.config.get("NOW")
    return cast(datetime, clock()) if clock else datetime.now(UTC)


def hasher() -> Hasher:
    """Return what hashes passwords and PINs."""
    return cast(Hasher, current_app.extensions["baybook_hasher"])


def _memory() -> Memory:
    return cast(Memory, current_app.extensions["baybook"])


def _known_sessions() -> KnownSessions:
    return cast(KnownSessions, current_app.extensions["baybook_sessions"])


def _store() -> Store:
    return _memory().store


# --- the session of a browser --------------------------------------------------------------------


def _token() -> str:
    return request.cookies.get(cookie_name(COOKIE), "")


def session_hash() -> str:
    """Return the hash of the session that this request came by."""
    return token_hash(_token())


def _find() -> None:
    """Find who sends the request through the row of the session, which may be gone by now."""
    g.person = g.holder = None
    token, memory, at = _token(), _memory(), now()
    if not token:
        return
    # Nearly every page asks for the words: they are looked up on the same way.
    stored, g.words = _known_sessions().of(token)
    g.holder = holder = holder_at(stored, at)
    if holder is None:
        note(Event.SESSION_REFUSED)
        return
    found = holder.person
    if found is not None:
        g.person = Person(name=found.name, role=Role(found.role), id=found.id)
    if to_be_noted(holder, at):
        # Pages are read on a full disk too, and while another program holds the database.
        with (
            suppress(StoreError),
            memory.store.write(
                found.name if found else "nobody", at, patience_ms=_PATIENCE_MS
            ) as unit,
        ):
            note_use(unit, holder, at)


def begin_session(person_id: int, *, shared: bool | None = None) -> Callable[[AnyResponse], None]:
    """Sign somebody in under a new token; what is returned puts it into a response.

    Parameters
    ----------
    shared : bool, optional
        Whether the device is a shared tablet; as it was unless told otherwise.
    """
    on_shared = on_shared_device() if shared is None else shared
    with _store().read() as unit:
        found = unit.people.get(person_id)
    with _store().write(found.name, now()) as unit:
        token = open_session(unit, person_id, now(), shared=on_shared, replaces=_token())
        g.holder = find_holder(unit, token, now())
    g.person = Person(name=found.name, role=Role(found.role), id=found.id)
    _renew_forms()

    def put(response: AnyResponse) -> None:
        response.set_cookie(
            cookie_name(COOKIE),
            token,
            max_age=_COOKIE_LIFE,
            httponly=True,
            samesite="Lax",
            secure=request.is_secure,
        )

    return put


def end_session(response: AnyResponse) -> None:
    """Sign out; a shared tablet stays one, without anybody who holds it."""
    with _store().write(person().name if signed_in() else "nobody", now()) as unit:
        if on_shared_device():
            unit.sessions.let_go(session_hash())
        else:
            unit.sessions.end(session_hash())
            response.delete_cookie(
                cookie_name(COOKIE), httponly=True, samesite="Lax", secure=request.is_secure
            )
    g.person = None
    _renew_forms()


def _renew_forms() -> None:
    # Tokens of forms that somebody else was shown are good no more.
    session.clear()
    session.permanent = True
    g.pop("csrf_token", None)


# --- every request -------------------------------------------------------------------------------


def wants_plain() -> bool:
    """Say whether the request comes from a script, which cannot show a page."""
    asked = request.headers.get("X-Requested-With") == "fetch"
    return asked or request.headers.get("Accept", "").startswith("application/json")


def sign_in_page() -> str:
    """Return the address of the page where this device signs in."""
    return "sign_in.switch" if on_shared_device() else "sign_in.show"


def _refuse_nobody() -> AnyResponse | tuple[str, int]:
    if wants_plain():
        words = "expected somebody signed in, got nobody; sign in, then send it again\n"
        return Response(words, 401, mimetype="text/plain")
    if request.method in {"GET", "HEAD"}:
        asked = len(request.query_string)
        path = request.full_path if 0 < asked <= _LONGEST_QUERY else request.path
        return redirect(url_for(sign_in_page(), next=path))
    from web.sign_in import unsent_page  # noqa: PLC0415 (it states its rights by this module)

    return unsent_page()


def init_app(app: Flask) -> None:
    """Ask every request who sends it."""
    app.extensions["baybook_sessions"] = KnownSessions(app.extensions["baybook"])
    app.extensions["baybook_hasher"] = app.config.get("HASHER") or Hasher()

    @app.before_request
    def check() -> AnyResponse | tuple[str, int] | None:
        if request.endpoint in _ASKED_BY_NOBODY or is_api(request.endpoint):
            return None
        _find()
        if request.endpoint is None:
            return None
        right = right_of(current_app, request.endpoint)
        if right is None:
            return None
        if signed_in() is None:
            return _refuse_nobody()
        if not person().may(right):
            note(Event.ROLE_REFUSED)
            abort(403)
        return None

    for known in (person, signed_in, on_shared_device):
        app.add_template_global(known)
