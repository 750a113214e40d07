"""The session of the forms: a signed cookie, looked through once while a browser sends the same.

It holds the number that the tokens of a browser's forms are made of, and nothing about who is
signed in.
"""

import time
from collections.abc import Mapping
from datetime import timedelta
from functools import lru_cache
from typing import Any, Final, cast

from flask import Flask, Request, current_app, g, request, session
from flask.sessions import SecureCookieSession, SecureCookieSessionInterface, SessionMixin
from flask_wtf.csrf import generate_csrf
from itsdangerous import BadSignature
from typing_extensions import override

from web.https import cookie_name

# Browsers whose signatures are kept, at some hundred bytes each (our choice).
_MOST_KEPT: Final = 256
# A cookie is given anew with the first page after so long, not with each: it lasts a month from
# then (our choice).
RENEWED_AFTER: Final = timedelta(hours=1)


class FormSession(SecureCookieSession):
    """What a cookie holds; ``signed`` is when it was signed, in seconds, 0 before it is."""

    signed = 0


class Sessions(SecureCookieSessionInterface):
    """The session of the forms, in a cookie that under https never leaves it."""

    def __init__(self) -> None:
        self._read = lru_cache(_MOST_KEPT)(self._read_anew)

    @override
    def get_cookie_name(self, app: Flask) -> str:
        return cookie_name(super().get_cookie_name(app))

    @override
    def get_cookie_secure(self, app: Flask) -> bool:
        return request.is_secure

    @override
    def open_session(self, app: Flask, request: Request) -> FormSession:
        sent = request.cookies.get(self.get_cookie_name(app))
        if not sent:
            return FormSession()
        try:
            held, signed = self._read(app, sent)
        except BadSignature:
            return FormSession()
        # The signature stays good, its time does not.
        age = int(time.time()) - signed
        if not 0 <= age <= app.permanent_session_lifetime.total_seconds():
            return FormSession()
        opened = FormSession(held)
        opened.signed = signed
        return opened

    @override
    def should_set_cookie(self, app: Flask, session: SessionMixin) -> bool:
        age = time.time() - cast(FormSession, session).signed
        due = session.modified or age > RENEWED_AFTER.total_seconds()
        return due and super().should_set_cookie(app, session)

    def _read_anew(self, app: Flask, sent: str) -> tuple[Mapping[str, Any], int]:
        """Return what a cookie holds, and when it was signed.

        Raises
        ------
        BadSignature
            If this site did not sign it.
        """
        signer = self.get_signing_serializer(app)
        if signer is None:
            raise BadSignature("expected a key to look at the signature by, got none")
        held, signed = signer.loads(sent, return_timestamp=True)
        return held, int(signed.timestamp())


def form_token() -> str:
    """Return the token of this browser's forms, signed once: it has no end of its own."""
    known = g.get("csrf_token")
    if known is None:
        number = session.get("csrf_token")
        known = _signed(current_app.secret_key, number) if number else generate_csrf()
        g.csrf_token = known
    return cast(str, known)


@lru_cache(_MOST_KEPT)
def _signed(key: str | bytes, number: str) -> str:
    # What it signs is the number of the present session, which is the one that it is kept by.
    return cast(str, generate_csrf(key))


def init_app(app: Flask) -> None:
    """Open that session for every request, and make the token known to the templates."""
    app.session_interface = Sessions()
    app.context_processor(lambda: {"csrf_token": form_token})
