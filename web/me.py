"""One's own page: password and PIN, the shared tablet, where one is signed in."""

from flask import Blueprint, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from kb.errors import SignInError, TooManyTriesError
from kb.store.people import StoredPerson
from kb.workflow.passwords import password_problem, pin_problem
from kb.workflow.people import choose_secrets, hashed
from kb.workflow.sign_in import Asked, Secret, check_secret
from web import db
from web.auth import begin_session, hasher, needs, now, on_shared_device, person, session_hash
from web.event_log import Event, note
from web.rights import Right
from web.sign_in import address, note_refused

bp = Blueprint("me", __name__)

_NOTHING = "expected a password or a PIN, got neither; type one"

Page = str | Response | tuple[str, int]


def mine() -> StoredPerson:
    """Return who sends this request, with all that is stored."""
    with db.store().read() as unit:
        return unit.people.get(person().id)


def own_page(errors: dict[str, str] | None = None, *, done: str = "") -> str:
    """Return one's own page."""
    with db.store().read() as unit:
        sessions = unit.sessions.of(person().id)
    return render_template(
        "me.html",
        mine=mine(),
        sessions=sessions,
        this=session_hash(),
        errors=errors or {},
        done=done,
    )


@bp.get("/me")
@needs(Right.SEE)
def show() -> str:
    """Show one's own page."""
    return own_page()


@bp.post("/me/secrets")
@needs(Right.SEE)
def choose() -> Page:
    """Choose a password, a PIN or both; whoever has one types it first."""
    errors = _problems()
    if errors:
        return own_page(errors), 400
    try:
        confirm()
    except SignInError as error:
        return _unconfirmed(error, "present")
    password, pin = request.form.get("password", ""), request.form.get("pin", "")
    chosen = hashed(password, pin, hasher=hasher(), name=person().name)
    with db.writing() as unit:
        choose_secrets(unit, person().id, chosen, keep_session=session_hash())
    note(Event.SECRETS_CHANGED)
    return own_page(done="Chosen. You are signed out everywhere else.")


def _unconfirmed(error: SignInError, field: str) -> tuple[str, int]:
    status = 429 if isinstance(error, TooManyTriesError) else 400
    return own_page({field: str(error)}), status


def _problems() -> dict[str, str]:
    password, pin = request.form.get("password", ""), request.form.get("pin", "")
    problems = {
        "password": password_problem(password, name=person().name) if password else None,
        "pin": pin_problem(pin) if pin else None,
    }
    if not password and not pin:
        problems = {"password": _NOTHING}
    return {field: problem for field, problem in problems.items() if problem}


def confirm() -> None:
    """Check the present password, or the present PIN where there is only that.

    Raises
    ------
    SignInError
        If it is another.
    """
    found = mine()
    if found.password_hash is None and found.pin_hash is None:
        return
    secret = Secret.PASSWORD if found.password_hash else Secret.PIN
    typed = request.form.get("present", "")
    asked = Asked(name=found.name, typed=typed, secret=secret, address=address())
    try:
        check_secret(db.store(), asked, hasher=hasher(), at=now())
    except SignInError as error:
        note_refused(asked, error)
        raise


@bp.post("/me/shared")
@needs(Right.SEE)
def shared() -> Page:
    """Make this device a shared tablet; to make one's own of it asks who it is.

    Whoever picks up a tablet that somebody left would else be that person for a month.
    """
    to_share = request.form.get("shared") == "yes"
    if on_shared_device() and not to_share:
        try:
            confirm()
        except SignInError as error:
            return _unconfirmed(error, "present-here")
    answer = redirect(url_for("me.show"))
    # What is so already needs no new session: it would begin its week anew without a password.
    if on_shared_device() != to_share:
        begin_session(person().id, shared=to_share)(answer)
    return answer


@bp.post("/me/sessions")
@needs(Right.SEE)
def end_one() -> Response:
    """End one of one's own sessions."""
    ends = request.form.get("session", "")
    with db.writing() as unit:
        if any(row.token_hash == ends for row in unit.sessions.of(person().id)):
            unit.sessions.end(ends)
            unit.history.add("sessions ended", None, f"one of {person().name}")
    return redirect(url_for("me.show"))
