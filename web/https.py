"""Https by a proxy on this machine: which of its words are believed, and what then protects more.

The pages are served as plain http to the proxy alone, which speaks https with the shop. What a
request says of itself (``X-Forwarded-*``) counts only where it comes from the proxy's address.
"""

from collections.abc import Mapping
from typing import Any, Final

from flask import Flask, Response, request

from web.hosts import LOOPBACK, name_of

# A browser that came by https once comes by nothing else for so long: at least a year (ASVS 5.0,
# 3.4.1).
HSTS: Final = "max-age=31536000"
_NOT_HTTPS: Final = (
    "expected https by way of the proxy, got plain http; open the address with https://, and let "
    "the proxy send X-Forwarded-Proto, X-Forwarded-Host and X-Forwarded-For as the README shows\n"
)


def trusting(address: str) -> Mapping[str, Any]:
    """Return the settings of the server by which a proxy at ``address`` is believed, one alone."""
    return {
        "trusted_proxy": address,
        "trusted_proxy_count": 1,
        "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-host", "x-forwarded-proto"},
        "clear_untrusted_proxy_headers": True,
    }


def cookie_name(plain: str) -> str:
    """Return the name of a cookie; under https one that only this very site can have set."""
    return f"__Host-{plain}" if request.is_secure else plain


def _went_round() -> bool:
    """Say whether a request came by the proxy, or to a name of it, and yet not by https."""
    passed_on = "X-Forwarded-For" in request.headers or "X-Forwarded-Host" in request.headers
    return not request.is_secure and (passed_on or name_of(request.host) not in LOOPBACK)


def init_app(app: Flask) -> None:
    """Keep browsers to https where that is spoken; with the setting PROXY ask for it."""

    @app.before_request
    def by_https() -> Response | None:
        if app.config["PROXY"] and _went_round():
            return Response(_NOT_HTTPS, 400, mimetype="text/plain")
        return None

    @app.after_request
    def stay(response: Response) -> Response:
        if request.is_secure:
            response.headers["Strict-Transport-Security"] = HSTS
        return response
