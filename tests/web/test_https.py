import http.client
import re

import pytest
from flask import request
from waitress import create_server
from waitress.proxy_headers import proxy_headers_middleware

from tests.served_here import end, serving
from tests.web.conftest import Browser, session_for
from web.auth import COOKIE
from web.hosts import own_names
from web.https import HSTS, trusting
from web.rights import Role

NAME = "bay.shop.example"
SAYS = {
    "X-Forwarded-Proto": "https", "X-Forwarded-Host": NAME, "X-Forwarded-For": "10.0.0.7",
}  # fmt: skip


@pytest.fixture
def proxied(site):
    """Return a site behind a proxy, as ``serve --proxy`` makes it."""
    site.app.config.update(SHOP_HOSTS=own_names([NAME]), PROXY=True)
    settings = {k: v for k, v in trusting("127.0.0.1").items() if k.startswith("trusted")}
    site.app.wsgi_app = proxy_headers_middleware(site.app.wsgi_app, **settings)
    return site


def ask(site, path="/sign-in", method="GET", says=SAYS, *, peer="127.0.0.1", client=None, **more):
    """Send a request as the proxy passes it on."""
    return (client or site.app.test_client()).open(
        path,
        method=method,
        base_url=f"http://{NAME}",
        headers={**says, **more.pop("headers", {})},
        environ_overrides={"REMOTE_ADDR": peer},
        **more,
    )


def cookies(answer):
    return {line.split("=")[0]: line for line in answer.headers.getlist("Set-Cookie")}


def test_by_https_cookies_are_kept_to_https_and_to_this_name(proxied):
    answer = ask(proxied)
    assert answer.status_code == 200
    (name,) = cookies(answer)
    assert name == "__Host-baybook_forms"
    parts = set(cookies(answer)[name].split("; ")[1:])
    assert {"Secure", "HttpOnly", "Path=/", "SameSite=Lax"} <= parts
    assert not any(part.startswith("Domain") for part in parts)


@pytest.mark.source("OWASP ASVS 5.0", "3.4.1: Strict-Transport-Security of at least one year")
def test_a_browser_that_came_by_https_is_told_to_stay_and_by_http_never(proxied):
    assert ask(proxied).headers["Strict-Transport-Security"] == HSTS
    assert int(HSTS.partition("=")[2]) >= 365 * 24 * 3600
    plain = proxied.app.test_client().get("/sign-in")
    assert plain.status_code == 200
    assert "Strict-Transport-Security" not in plain.headers


def test_a_form_by_https_arrives_and_one_from_elsewhere_does_not(proxied):
    client = proxied.app.test_client()
    token = session_for(proxied.store, Role.TECHNICIAN)
    client.set_cookie(f"__Host-{COOKIE}", token, domain=NAME, secure=True)
    page = ask(proxied, "/", client=client).text
    csrf = re.findall(r'name="csrf_token" value="([^"]+)"', page)[0]
    form = {"csrf_token": csrf, "text": "no crank", "action": "open"}
    told = {}
    for origin in (f"https://{NAME}", f"http://{NAME}", "https://evil.example"):
        told[origin] = ask(
            proxied, "/jobs", "POST", client=client, data=form,
            headers={"Origin": origin, "Referer": f"{origin}/"},
        ).status_code  # fmt: skip
    assert list(told.values()) == [302, 403, 403]


def test_a_plain_cookie_opens_nothing_by_https(proxied):
    client = proxied.app.test_client()
    client.set_cookie(COOKIE, session_for(proxied.store, Role.OWNER), domain=NAME)
    assert ask(proxied, "/", client=client).status_code == 302


@pytest.mark.parametrize("known", [{"X-Forwarded-For": "10.0.0.7"}, {}])
def test_a_proxy_that_does_not_say_https_is_told_what_to_send(proxied, known):
    answer = ask(proxied, says=known)
    assert answer.status_code == 400
    assert "X-Forwarded-Proto" in answer.text


def test_the_machine_itself_still_reaches_its_pages_beside_the_proxy(proxied):
    client = proxied.app.test_client()
    assert client.get("/sign-in").status_code == 200
    passed_on = {"X-Forwarded-For": "10.0.0.7"}
    assert client.get("/sign-in", headers=passed_on).status_code == 400


def test_a_foreign_name_gets_no_page_by_the_proxy_either(proxied):
    answer = ask(proxied, says={**SAYS, "X-Forwarded-Host": "evil.example"})
    assert answer.status_code == 400
    assert "Sign in" not in answer.text


def test_what_others_than_the_proxy_say_of_themselves_is_not_believed(proxied):
    answer = ask(proxied, peer="10.0.0.9")
    assert answer.status_code == 400
    assert "Strict-Transport-Security" not in answer.headers


def test_without_the_option_nobody_is_believed(site):
    site.app.config["SHOP_HOSTS"] = own_names([NAME])
    answer = ask(site)
    assert "Strict-Transport-Security" not in answer.headers
    assert list(cookies(answer)) == ["baybook_forms"]


def test_devices_behind_the_proxy_are_told_apart(proxied):
    seen = []
    proxied.app.before_request_funcs[None].append(lambda: seen.append(request.remote_addr))
    client = Browser(proxied.app).client
    for number in (7, 8):
        # What a device adds itself comes first, what the proxy adds last.
        says = {**SAYS, "X-Forwarded-For": f"6.6.6.6, 10.0.0.{number}"}
        ask(proxied, says=says, client=client)
    assert seen == ["10.0.0.7", "10.0.0.8"]


def test_the_server_itself_believes_the_proxy_of_this_machine(site):
    site.app.config.update(SHOP_HOSTS=own_names([NAME]), PROXY=True)
    server = create_server(site.app, host="127.0.0.1", port=0, threads=1, **trusting("127.0.0.1"))
    thread = serving(server)
    try:
        connection = http.client.HTTPConnection("127.0.0.1", server.effective_port, timeout=20)
        connection.request("GET", "/sign-in", headers=SAYS)
        answer = connection.getresponse()
        assert answer.status == 200
        assert answer.headers["Strict-Transport-Security"] == HSTS
        answer.read()
        connection.close()
    finally:
        end(server, thread)
