"""Programs that ask by themselves: their tokens on the page of people."""

from flask import Blueprint, make_response, redirect, request, url_for
from werkzeug.wrappers import Response

from kb.errors import ConflictError, ParseError
from kb.workflow.tokens import DAYS, SCOPE_WORDS, MadeToken, make_token
from web import db
from web.auth import needs, now
from web.people import Page, people_page
from web.rights import Right
from web.token_commands import token_state

bp = Blueprint("tokens", __name__)


@bp.app_template_global()
def token_words() -> list[tuple[str, str]]:
    """Return what a program may do, in words."""
    return [(str(scope), words) for scope, words in SCOPE_WORDS.items()]


@bp.app_template_global()
def token_days() -> int:
    """Return how long a token is good unless told otherwise."""
    return DAYS


@bp.app_template_global()
def token_rows() -> list[tuple[object, str, bool]]:
    """Return the tokens, whether each is good and until when, and whether it is good now."""
    with db.store().read() as unit:
        rows = unit.tokens.all()
    return [(row, token_state(row, now()), row.is_good(now())) for row in rows]


def _days() -> int:
    typed = request.form.get("days", "").strip()
    if not (typed.isascii() and typed.isdigit() and len(typed) <= 4):
        raise ParseError(f"expected a number of days, got '{typed[:20]}'; type it again")
    return int(typed)


@bp.post("/people/tokens")
@needs(Right.PEOPLE)
def add() -> Page:
    """Make a token and show it, once."""
    form = request.form
    try:
        days = _days()
        with db.writing() as unit:
            scopes = form.getlist("may")
            made = make_token(unit, form.get("program", ""), scopes, days=days, at=now())
    except (ParseError, ConflictError) as error:
        status = 400 if isinstance(error, ParseError) else 409
        typed = {"program": form.get("program", ""), "days": form.get("days", "")}
        may = form.getlist("may")
        return people_page(typed | {"token_error": str(error)}, token_may=may), status
    return _with_token(made)


def _with_token(made: MadeToken) -> Response:
    answer = make_response(people_page(made=made))
    answer.headers["Cache-Control"] = "no-store"
    return answer


@bp.post("/people/tokens/<int:token_id>/revoke")
@needs(Right.PEOPLE)
def revoke(token_id: int) -> Response:
    """Take a token back."""
    with db.writing() as unit:
        unit.tokens.revoke(token_id)
    return redirect(url_for("people.show", _anchor="programs"))
