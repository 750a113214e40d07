"""One-time codes: set up on one's own page with a phone, typed at sign-in, taken off again."""

import segno
from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from kb.errors import SignInError, TooManyTriesError
from kb.workflow.one_time import Phone, check_code, is_secret, new_secret, phone_address, set_up
from kb.workflow.sign_in import Asked, Secret
from web import db
from web.auth import begin_session, needs, now, person, session_hash
from web.event_log import Event, note
from web.me import confirm, mine, own_page
from web.rights import Right
from web.sign_in import address, note_refused

bp = Blueprint("one_time", __name__)

Page = str | Response | tuple[str, int]


def _page(secret: str, status: int = 200, errors: dict[str, str] | None = None) -> Response:
    """Show a secret that is not in use yet, as text and as a picture; no cache keeps it."""
    picture = segno.make(phone_address(secret, person().name), error="m")
    page = render_template(
        "one_time.html",
        mine=mine(),
        secret=secret,
        grouped=" ".join(secret[at : at + 4] for at in range(0, len(secret), 4)),
        # Dark on light in both themes: that is what cameras read.
        picture=picture.svg_data_uri(scale=5, border=4, light="#fff"),
        errors=errors or {},
    )
    answer = make_response(page, status)
    answer.headers["Cache-Control"] = "no-store"
    return answer


@bp.get("/me/code")
@needs(Right.PEOPLE)
def form() -> Response:
    """Offer a new secret to a phone."""
    return _page(new_secret())


@bp.post("/me/code")
@needs(Right.PEOPLE)
def begin() -> Response:
    """Ask for one-time codes from now on; the phone has shown one."""
    phone = Phone(secret=request.form.get("secret", ""), code=request.form.get("one_time", ""))
    try:
        confirm()
        with db.writing() as unit:
            set_up(unit, person().id, phone, at=now(), keep_session=session_hash())
    except TooManyTriesError as error:
        return _page(new_secret(), 429, {"present": str(error)})
    except SignInError as error:
        field = "one_time" if "one-time" in str(error) else "present"
        # Half a form brings no secret; the page then offers another.
        secret = phone.secret if is_secret(phone.secret) else new_secret()
        return _page(secret, 400, {field: str(error)})
    note(Event.SECRETS_CHANGED)
    put = begin_session(person().id)
    answer = redirect(url_for("me.show"))
    put(answer)
    return answer


@bp.post("/me/code/off")
@needs(Right.SEE)
def end() -> Page:
    """Ask for no one-time code any more; takes the password and a last code."""
    found = mine()
    typed = Asked(
        name=found.name,
        typed="",
        secret=Secret.CODE,
        address=address(),
        code=request.form.get("one_time", ""),
    )
    try:
        confirm()
        check_code(db.store(), found, typed, at=now())
    except SignInError as error:
        note_refused(typed, error)
        status = 429 if isinstance(error, TooManyTriesError) else 400
        return own_page({"code": str(error)}), status
    with db.writing() as unit:
        unit.people.set_code(found.id, secret=None, step=None)
    note(Event.SECRETS_CHANGED)
    return own_page(done="No one-time code is asked any more.")
