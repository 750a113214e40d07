"""Sign in by name and password, by a link, or by PIN on a shared tablet; sign out."""

from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from kb.errors import NotFoundError, SignInError, TooManyTriesError
from kb.store.people import StoredPerson
from kb.workflow.one_time import check_code
from kb.workflow.passwords import clean_name, name_problem, password_problem, pin_problem
from kb.workflow.people import Invitation, hashed, invitation, take_link
from kb.workflow.sign_in import Asked, Secret, check_secret
from web import db, resend
from web.auth import (
    begin_session,
    end_session,
    hasher,
    needs,
    now,
    on_shared_device,
    sign_in_page,
    signed_in,
)
from web.event_log import Event, note
from web.resend import Unsent, local_path

bp = Blueprint("sign_in", __name__)

Page = str | Response | tuple[str, int]


def _active() -> list[StoredPerson]:
    with db.store().read() as unit:
        return [row for row in unit.people.all() if row.active]


def _codes_in_use(people: list[StoredPerson]) -> bool:
    """Say whether anybody signs in with a one-time code: else no page asks for one."""
    return any(row.totp_secret for row in people)


def _page(error: str = "", *, unsent: Unsent | None = None) -> str:
    """Return the page where this device signs in, with all that was typed but the secret."""
    active = _active()
    return render_template(
        "switch.html" if sign_in_page() == "sign_in.switch" else "sign_in.html",
        people=active if on_shared_device() else [],
        codes_in_use=_codes_in_use(active),
        name=request.form.get("name", request.args.get("name", "")),
        next=local_path(request.values.get("next")),
        unsent=unsent or resend.carried(),
        error=error,
    )


def unsent_page() -> tuple[str, int]:
    """Return the answer to a form that nobody signed in sent: nothing is lost."""
    return _page(unsent=resend.of_request()), 401


def address() -> str:
    """Return where the request comes from."""
    return request.remote_addr or "unknown"


def note_refused(asked: Asked, error: SignInError) -> None:
    """Write a refused try down; a name only where it is somebody's, for else it may be a secret."""
    with db.store().read() as unit:
        found = unit.people.named(clean_name(asked.name))
    paused = isinstance(error, TooManyTriesError)
    event = Event.SIGN_IN_PAUSED if paused else Event.SIGN_IN_REFUSED
    note(event, who=found.name if found else None, by=asked.secret)


def _sign_in(secret: Secret, typed: str) -> Page:
    asked = Asked(
        name=request.form.get("name", ""),
        typed=typed,
        secret=secret,
        address=address(),
        code=request.form.get("one_time", ""),
    )
    try:
        found = check_secret(db.store(), asked, hasher=hasher(), at=now())
        check_code(db.store(), found, asked, at=now())
    except SignInError as error:
        note_refused(asked, error)
        return _page(str(error)), 429 if isinstance(error, TooManyTriesError) else 400
    put = begin_session(found.id)
    note(Event.SIGNED_IN, by=secret)
    unsent = resend.carried()
    if unsent is None:
        answer: Response = redirect(local_path(request.form.get("next")))
    else:
        answer = make_response(resend.page(unsent, f"Signed in as {found.name}"))
    put(answer)
    return answer


@bp.get("/sign-in")
@needs(None)
def show() -> str:
    """Ask for name and password."""
    return render_template(
        "sign_in.html",
        name=request.args.get("name", ""),
        next=local_path(request.args.get("next")),
        codes_in_use=_codes_in_use(_active()),
        unsent=None,
        error="",
    )


@bp.post("/sign-in")
@needs(None)
def enter() -> Page:
    """Sign in by name and password."""
    return _sign_in(Secret.PASSWORD, request.form.get("password", ""))


@bp.get("/switch")
@needs(None)
def switch() -> str:
    """Show the names of a shared tablet."""
    if on_shared_device():
        return _page()
    return render_template("not_shared.html")


@bp.post("/switch")
@needs(None)
def hand_over() -> Page:
    """Hand a shared tablet to somebody who types the PIN."""
    if not on_shared_device():
        return render_template("not_shared.html"), 400
    return _sign_in(Secret.PIN, request.form.get("pin", ""))


@bp.post("/sign-out")
@needs(None)
def leave() -> Response:
    """Sign out."""
    answer = redirect(url_for(sign_in_page()))
    note(Event.SIGNED_OUT)
    end_session(answer)
    return answer


# --- links that sign in once ---------------------------------------------------------------------


def _link_page(found: Invitation, errors: dict[str, str]) -> Response:
    page = render_template(
        "link.html", person=found.person, name=request.form.get("name", ""), errors=errors
    )
    return _private(make_response(page))


def _private(answer: Response) -> Response:
    """Keep a page with a secret in its address or text out of every cache."""
    answer.headers["Cache-Control"] = "no-store"
    return answer


def _dead(error: NotFoundError) -> tuple[str, int]:
    note(Event.LINK_REFUSED)
    return render_template("error.html", title="That link is good no more", message=str(error)), 404


@bp.get("/sign-in/<token>")
@needs(None)
def look_at_link(token: str) -> Page:
    """Show what a link is for; only the button uses it up, so that a preview does not."""
    try:
        return _link_page(_found(token), {})
    except NotFoundError as error:
        return _dead(error)


def _found(token: str) -> Invitation:
    with db.store().read() as unit:
        return invitation(unit, token, now())


@bp.post("/sign-in/<token>")
@needs(None)
def use_link(token: str) -> Page:
    """Take a link: choose what is asked for and sign in."""
    try:
        found = _found(token)
        errors = _problems(found) or _wrong_code(found)
        person = None if errors else _take(token, found)
    except NotFoundError as error:
        # Sent twice in a hurry: the first sending signed in.
        return redirect(url_for("jobs.today")) if signed_in() else _dead(error)
    if person is None:
        return _refused(found, errors)
    put = begin_session(person.id)
    note(Event.SIGNED_IN, by="link")
    gone = _private(redirect(url_for("jobs.today")))
    put(gone)
    return gone


def _wrong_code(found: Invitation) -> dict[str, str]:
    """Return what is wrong with the one-time code, which a link stands in for no more than a PIN."""
    if found.person is None:
        return {}
    asked = Asked(
        name=found.person.name,
        typed="",
        secret=Secret.CODE,
        address=address(),
        code=request.form.get("one_time", ""),
    )
    try:
        check_code(db.store(), found.person, asked, at=now())
    except SignInError as error:
        note_refused(asked, error)
        return {"one_time": str(error)}
    return {}


def _take(token: str, found: Invitation) -> StoredPerson:
    """Return who the link signs in.

    Raises
    ------
    NotFoundError
        If somebody else was faster.
    """
    form = request.form
    name = clean_name(form.get("name", ""))
    who = found.person.name if found.person else name
    chosen = hashed(form.get("password", ""), form.get("pin", ""), hasher=hasher(), name=who)
    with db.store().write(who, now()) as unit:
        return take_link(unit, token, now(), chosen=chosen, name=name)


def _refused(found: Invitation, errors: dict[str, str]) -> Response:
    answer = _link_page(found, errors)
    answer.status_code = 400
    return answer


def _problems(found: Invitation) -> dict[str, str]:
    """Return what is wrong with what was chosen, by field; a new person needs a password."""
    password, pin = request.form.get("password", ""), request.form.get("pin", "")
    name = found.person.name if found.person else request.form.get("name", "")
    problems = {
        "password": password_problem(password, name=name) if password or not found.person else None,
        "pin": pin_problem(pin) if pin else None,
        "name": None if found.person else _name_problem(request.form.get("name", "")),
    }
    return {field: problem for field, problem in problems.items() if problem}


def _name_problem(typed: str) -> str | None:
    with db.store().read() as unit:
        taken = unit.people.named(clean_name(typed)) is not None
    if taken:
        return "expected a name of its own, got one that is there already; choose another"
    return name_problem(typed)
