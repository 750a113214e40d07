"""Whether a form arrived: a browser that lost its connection asks before it sends again."""

from flask import Blueprint

from web import db
from web.auth import needs
from web.db import FORM_ID
from web.rights import Right

bp = Blueprint("sent", __name__)


@bp.get("/sent/ping")
@needs(None)
def ping() -> tuple[str, int]:
    """Answer that the shop can be reached."""
    return "", 204


@bp.get("/sent/<form_id>")
@needs(Right.SEE)
def show(form_id: str) -> tuple[str, int]:
    """Answer 204 where a form of that number was taken, 404 where it was not."""
    with db.store().read() as unit:
        return "", 204 if FORM_ID.fullmatch(form_id) and unit.sent.taken(form_id) else 404
