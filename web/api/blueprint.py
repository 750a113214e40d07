"""The API put together: its routes, who is let in, its errors, its description."""

from typing import Final

from flask import Blueprint, Flask, Response, current_app, request
from flask_wtf import CSRFProtect

from kb.errors import SignInError
from web.api import closings, description, jobs, reading
from web.api.operation import let_in, operation_of
from web.api.place import NAME, PREFIX
from web.api.problems import init_blueprint, of_kb
from web.event_log import Event, note

_PARTS: Final = (jobs.bp, closings.bp, reading.bp, description.bp)


def _make() -> Blueprint:
    bp = Blueprint(NAME, __name__, url_prefix=PREFIX)
    for part in _PARTS:
        bp.register_blueprint(part)
    init_blueprint(bp)

    @bp.before_request
    def check() -> None:
        if request.endpoint == "api.jobs.add_photo":
            request.max_content_length = jobs.MAX_PHOTO_BYTES
        let_in(operation_of(current_app, request.endpoint or ""))

    @bp.errorhandler(SignInError)
    def on_wrong_token(error: SignInError) -> Response:
        note(Event.TOKEN_REFUSED)
        answer = of_kb(error)
        if answer.status_code == 401:
            answer.headers["WWW-Authenticate"] = 'Bearer error="invalid_token"'
        return answer

    @bp.after_request
    def keep_nowhere(response: Response) -> Response:
        response.headers["Cache-Control"] = "no-store"
        return response

    return bp


def init_app(app: Flask, csrf: CSRFProtect) -> None:
    """Add the API; no browser sends its tokens by itself, so no form's token is asked for."""
    made = _make()
    app.register_blueprint(made)
    for part in (made, *_PARTS):
        csrf.exempt(part)
