"""Errors as pages: the same words as in the terminal, never a trace."""

from flask import Flask, Response, current_app, g, redirect, render_template, request, url_for
from flask_wtf.csrf import CSRFError
from werkzeug.exceptions import HTTPException, SecurityError
from werkzeug.wrappers import Response as AnyResponse

from kb.errors import (
    ConflictError,
    EmptyIndexError,
    KBError,
    NoRoomError,
    NotFoundError,
    ParseError,
    StoreError,
    TooManyTriesError,
)
from kb.store.faults import no_room
from web import resend
from web.api.place import is_below
from web.api.problems import of_http
from web.auth import signed_in
from web.db import AlreadySentError, ChangedSinceError, SentByOtherError
from web.event_log import Event, note

_STATUS = {
    NotFoundError: 404,
    EmptyIndexError: 404,
    ConflictError: 409,
    TooManyTriesError: 429,
}

# What a page says instead of the server's own words, by status.
_PLAIN = {
    403: (
        "That is not yours to do",
        "expected somebody whose role may do this, got another role or a form from elsewhere; ask "
        "the owner for the role or let somebody who has it do this, or open the page anew and send "
        "it again",
    ),
    404: (
        "No such page",
        "expected the address of a page, got one that leads nowhere; go back to today's jobs",
    ),
    405: (
        "That address takes no such request",
        "expected a form or a link of this site, got another kind of request; go back to today's "
        "jobs",
    ),
    413: ("That is too long", ""),
    500: (
        "Something broke in the program",
        "expected an answer, got a fault; look whether what you sent is there, send it again if it "
        "is not, and tell whoever looks after this program the number {fault}",
    ),
}

Page = tuple[str, int]


def _page(title: str, message: str, status: int) -> Page:
    page = render_template("error.html", title=title, message=message, unsent=_refused_form(status))
    return page, status


def _refused_form(status: int) -> resend.Unsent | None:
    """Return the form that the person's role may not send: what was typed can still be read."""
    return _typed_form() if status == 403 else None


def _typed_form() -> resend.Unsent | None:
    """Return the form that somebody who is signed in sent, None where there is none to show."""
    if request.method != "POST" or signed_in() is None:
        return None
    try:
        return resend.of_request() if request.form else None
    except (HTTPException, ParseError):
        # Nobody reads a form that is longer than any of this site.
        return None


def _not_saved_page(error: StoreError) -> Page:
    """Say that nothing was saved; what was typed stands there with a button that sends it again."""
    full = isinstance(error, NoRoomError)
    title = "Not saved: the disk is full" if full else "That did not work"
    status = 507 if full else 503
    unsent = _typed_form()
    if unsent is None:
        return _page(title, str(error), status)
    return resend.page(unsent, title, str(error)), status


def _length_words() -> str:
    """Return how long a form of this address may be."""
    most = (request.max_content_length or 0) // 1_000_000
    megabytes = "a megabyte" if most == 1 else f"{most} megabytes"
    return f"expected at most {megabytes} in one form, got more; send it in parts"


def _plain_words(status: int, error: HTTPException) -> tuple[str, str]:
    title, message = _PLAIN.get(status, (error.name, error.description or ""))
    if status == 500:
        return title, message.format(fault=g.get("fault_id", "none"))
    return title, _length_words() if status == 413 else message


def _of_an_earlier_sign_in() -> bool:
    """Say whether a form with a wrong token came from a page of this very site."""
    origin = request.headers.get("Origin", "").rstrip("/")
    known = signed_in() is not None and origin == request.host_url.rstrip("/")
    return known and bool(request.form)


def _page_it_came_from() -> str:
    """Return the page of this site that the form stood on; today's where it was no such page."""
    home, here, came = url_for("jobs.today"), request.host_url, request.referrer or ""
    path = resend.local_path("/" + came.removeprefix(here), default="")
    adapter = current_app.create_url_adapter(request)
    if not came.startswith(here) or not path or adapter is None:
        return home
    # A form that was refused stood at an address that takes forms only.
    return path if adapter.test(path.partition("?")[0], method="GET") else home


def _old_form_page(status: int) -> Page:
    if _of_an_earlier_sign_in():
        unsent = resend.of_request()
        return resend.page(unsent, "That form is from before you signed in"), status
    message = "expected a fresh form, got an old one; go back, reload the page, send it again"
    return _page("That form is too old", message, status)


def _of_forms(app: Flask) -> None:
    """Register the pages for forms that were sent before, or filled from what stands no more."""

    @app.errorhandler(AlreadySentError)
    def on_second_sending(error: AlreadySentError) -> AnyResponse:
        # The first sending did it; the second lands where the first one did.
        if error.job_id:
            return redirect(url_for("jobs.show", job_id=error.job_id))
        return redirect(_page_it_came_from())

    @app.errorhandler(SentByOtherError)
    def on_form_of_another(_: SentByOtherError) -> Page:
        unsent = resend.of_request().renewed()
        return resend.page(unsent, "Somebody else sent that form already"), 409

    @app.errorhandler(ChangedSinceError)
    def on_change_meanwhile(error: ChangedSinceError) -> Page:
        typed = [(name, value) for name, value in request.form.items(multi=True)]
        page = render_template("changed.html", change=error, typed=typed, action=request.path)
        return page, 409


def _of_requests(app: Flask) -> None:
    """Register the answers to requests that no page takes."""

    @app.errorhandler(HTTPException)
    def on_http_error(error: HTTPException) -> Page | Response:
        if is_below(request.path):
            return of_http(error)
        status = error.code or 500
        return _page(*_plain_words(status, error), status)


def init_app(app: Flask) -> None:
    """Register the pages for errors."""
    _of_forms(app)
    _of_requests(app)

    @app.errorhandler(StoreError)
    def on_no_store(error: StoreError) -> Page:
        return _not_saved_page(error)

    @app.errorhandler(OSError)
    def on_no_file(error: OSError) -> Page:
        full = no_room(error)
        if full is None:
            # A fault like any other.
            raise error
        return _not_saved_page(full)

    @app.errorhandler(KBError)
    def on_kb_error(error: KBError) -> Page:
        return _page("That did not work", str(error), _STATUS.get(type(error), 400))

    @app.errorhandler(CSRFError)
    def on_old_form(error: CSRFError) -> Page:
        note(Event.FORM_REFUSED)
        return _old_form_page(error.code or 400)

    @app.errorhandler(SecurityError)
    def on_foreign_host(error: SecurityError) -> Response:
        # No page: its links would lead to the foreign name.
        message = (
            "expected the address of this machine, got another name; open the address that "
            "baybook serve printed, or give serve this name with --name\n"
        )
        return Response(message, error.code, mimetype="text/plain")
