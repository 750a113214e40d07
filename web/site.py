"""The site: settings, protection, the store, the pages."""

import os
import re
import secrets
from collections.abc import Callable, Mapping
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import Any, cast

from flask import Flask, Request, Response, abort, g, has_request_context, request
from flask_wtf import CSRFProtect
from typing_extensions import override
from werkzeug.exceptions import SecurityError
from werkzeug.local import LocalProxy

from kb.errors import ParseError
from web import (
    auth,
    cases,
    close,
    customer,
    db,
    decisions,
    entries,
    errors,
    event_log,
    filters,
    find,
    form_session,
    forms,
    https,
    job_parts,
    jobs,
    kept_parts,
    labels,
    live,
    me,
    notes,
    one_time,
    people,
    photos,
    pictures,
    pieces,
    sent,
    sign_in,
    tokens,
    trust,
    week,
    words,
)
from web.api import blueprint
from web.drawing import Drawing
from web.event_log import Event, note
from web.hosts import is_own
from web.week_counting import PATIENCE_S
from web.workers import USUAL_PARTS

# One script file of our own and no inline style: nothing that a page shows can run.
_POLICY = (
    "default-src 'none'; style-src 'self'; script-src 'self'; connect-src 'self'; "
    "img-src 'self' data: blob:; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
_DEFAULTS = {
    "ALTITUDE_M": 0.0,
    "MAX_CONTENT_LENGTH": 1_000_000,
    "MAX_FORM_MEMORY_SIZE": 1_000_000,
    "SESSION_COOKIE_SAMESITE": "Lax",
    # Names by which others in the shop reach this machine; None: it is asked by itself alone.
    "SHOP_HOSTS": None,
    # Whether a proxy on this machine speaks https with everybody else.
    "PROXY": False,
    "WEEK_PATIENCE_S": PATIENCE_S,
    # The address of a cluster whose workers hold the memory, in how many parts; None: it is here.
    "CLUSTER": None,
    "PARTS": USUAL_PARTS,
    # Cookies know no ports: another program on this machine must not overwrite ours.
    "SESSION_COOKIE_NAME": "baybook_forms",
    # A job page stands open all day in the bay; its form must still work then.
    "WTF_CSRF_TIME_LIMIT": None,
}

_PAGES = (
    jobs,
    find,
    cases,
    close,
    customer,
    labels,
    sent,
    photos,
    pieces,
    job_parts,
    pictures,
    trust,
    week,
    decisions,
    notes,
    live,
    sign_in,
    people,
    tokens,
    me,
    one_time,
    entries,
    words,
)

# Addresses that are kept: a few times those that there are (our choice).
_MOST_ADDRESSES = 500
# Stand for the values of an address: random numbers, so that nobody can type them and that they may
# stand where a number must.
_MARKS = tuple(str(10**17 + secrets.randbelow(10**17)) for _ in range(3))
# A page asks some fifty times: what stands behind the proxy says it in a tenth of its time.
_REQUEST = cast("LocalProxy[Request]", request)
_PLAIN = re.compile(r"[A-Za-z0-9_-][A-Za-z0-9_.-]*")


def _is_plain(value: object) -> bool:
    """Say whether a value stands in an address as it is."""
    kind = type(value)
    return kind is int or (kind is str and _PLAIN.fullmatch(value) is not None)  # type: ignore[call-overload]


class _Site(Flask):
    """Writes faults down by the rule of an address: the address itself can be a sign-in link."""

    jinja_environment = Drawing

    def __init__(self, name: str) -> None:
        super().__init__(name)
        self._addresses: dict[tuple[str, ...], str] = {}

    @override
    def url_for(self, endpoint: str, **values: Any) -> str:
        """Return an address; of each page it is made once, as a page links to some fifty.

        Kept is the address with marks for its values; only values that no address writes otherwise
        stand in for them.
        """
        if has_request_context() and all(map(_is_plain, values.values())):
            root = _REQUEST._get_current_object().root_path  # noqa: SLF001
            known = self._addresses.get((endpoint, root, *values))
            if known is None:
                known = self._learned(endpoint, values)
            if known:
                return known % values
        return super().url_for(endpoint, **values)

    def _learned(self, endpoint: str, values: Mapping[str, object]) -> str:
        """Return an address with places for values by name, empty where it cannot be kept."""
        # Names that begin with a line are wishes about the address.
        wishes = any(name.startswith("_") for name in values)
        if wishes or endpoint.startswith(".") or len(values) > len(_MARKS):
            return ""
        marked: dict[str, Any] = dict(zip(values, _MARKS, strict=False))
        known = super().url_for(endpoint, **marked).replace("%", "%%")
        for name, mark in marked.items():
            known = known.replace(mark, f"%({name})s")
        # A program may ask under any number of roots; pages are few.
        if len(self._addresses) < _MOST_ADDRESSES:
            self._addresses[endpoint, request.root_path, *values] = known
        return known

    @override
    def ensure_sync(self, func: Callable[..., Any]) -> Callable[..., Any]:
        """Return a function as it is: none of this site is a coroutine, and looking takes time."""
        return func

    @override
    def log_exception(self, exc_info: Any) -> None:
        where = request.url_rule or "an address that no page has"
        # The page shows the same number, so that a fault that somebody tells of is found.
        g.fault_id = secrets.token_hex(4)
        note(Event.FAULT, id=g.fault_id, kind=exc_info[0].__name__)
        words = "Fault %s on %s [%s]"
        self.logger.error(words, g.fault_id, where, request.method, exc_info=exc_info)


def form_key(home: Path) -> str:
    """Return the key that signs the form tokens; made once, readable by the owner only.

    Several processes that begin at once get the same: with a key of its own, one would refuse the
    forms of the other.
    """
    home.mkdir(parents=True, exist_ok=True)
    path = home / "form.key"
    if path.exists() and not path.stat().st_size:
        path.unlink(missing_ok=True)
    if not path.exists():
        with NamedTemporaryFile("w", dir=home, prefix="form.", delete=False) as made:
            made.write(secrets.token_hex(32))
        _first_stays(Path(made.name), path)
    return path.read_text(encoding="ascii")


def _first_stays(made: Path, path: Path) -> None:
    """Give a file its name, unless another process was first."""
    try:
        os.link(made, path)
    except FileExistsError:
        pass
    except OSError:
        # A disk that knows no second names.
        made.replace(path)
    made.unlink(missing_ok=True)


def _is_text(asked: bytes) -> bool:
    """Say whether the words after an address are text; programs, not browsers, send others."""
    try:
        asked.decode()
    except UnicodeDecodeError:
        return False
    return True


def _protect(app: Flask) -> None:
    @app.before_request
    def own_host() -> None:
        """Refuse a request to a foreign name, before anything else looks at it."""
        if not is_own(request.host, app.config["SHOP_HOSTS"]):
            note(Event.HOST_REFUSED, host=request.host)
            raise SecurityError(f"expected a name of this machine, got {request.host!r}")

    @app.before_request
    def same_origin() -> None:
        """Refuse a write that another site's page sent."""
        origin = request.headers.get("Origin")
        if (
            request.method not in {"GET", "HEAD", "OPTIONS"}
            and origin
            and origin.rstrip("/") != request.host_url.rstrip("/")
        ):
            note(Event.ORIGIN_REFUSED, origin=origin)
            abort(403)

    @app.before_request
    def own_signs() -> None:
        """Refuse an address with a sign that no database takes, not even to look for it."""
        # The answers while somebody types say it where they stand.
        asked = b"" if request.blueprint == "live" else request.query_string
        if b"%00" in asked or "\0" in request.path or not _is_text(request.query_string):
            raise ParseError("expected words and numbers, got a sign that cannot be stored")

    @app.after_request
    def headers(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = _POLICY
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "same-origin"
        # Pages hold the shop's own, and tokens of who is signed in: no cache hands them on.
        response.headers.setdefault("Cache-Control", "private, no-cache")
        return response


def make_site(settings: Mapping[str, Any]) -> Flask:
    """Return the application; see ``web.create_app``."""
    app = _Site("web")
    app.config.update(_DEFAULTS)
    app.config.update(settings)
    # The store first: without one there is nothing to sign forms for.
    db.init_app(app)
    event_log.init_app(app)
    if not app.config["SECRET_KEY"]:
        app.config["SECRET_KEY"] = form_key(Path(app.config["HOME"]))
    # Before anything reads a form: photos may be longer than words.
    photos.init_app(app)
    _protect(app)
    https.init_app(app)
    # Who it is comes before the form's token: an expired sign-in never loses what was typed.
    auth.init_app(app)
    csrf = CSRFProtect(app)
    form_session.init_app(app)
    forms.init_app(app)
    kept_parts.init_app(app)
    filters.init_app(app)
    errors.init_app(app)
    for page in _PAGES:
        app.register_blueprint(page.bp)
    blueprint.init_app(app, csrf)
    return app
