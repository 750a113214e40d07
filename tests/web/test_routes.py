"""Every route held against every role: who gets in, who is refused, who is asked to sign in."""

from urllib.parse import urlsplit

import pytest

from tests.web.conftest import session_for
from web.auth import COOKIE, right_of
from web.rights import RIGHTS, Right, Role

NOBODY = "nobody"
# Forms that everybody who is signed in may send: about oneself, and a question about a form.
OWN = {"me.choose", "me.shared", "me.end_one"}
# Open to anybody, signed in or not.
OPEN = {
    "static", "sent.ping", "sign_in.show", "sign_in.enter", "sign_in.switch", "sign_in.hand_over",
    "sign_in.leave", "sign_in.look_at_link", "sign_in.use_link",
}  # fmt: skip


def routes(site):
    """Return endpoint, method and an address for every rule of the site."""
    adapter = site.app.url_map.bind("localhost")
    found = []
    for rule in site.app.url_map.iter_rules():
        values = dict.fromkeys(rule.arguments, 404)
        path = adapter.build(rule.endpoint, values)
        found += [
            (rule.endpoint, method, path) for method in sorted(rule.methods & {"GET", "POST"})
        ]
    return found


def expected(right, role):
    """Return what the table of rights says of a route for a role."""
    if right is None:
        return "open"
    if role == NOBODY:
        return "sign in"
    return "open" if right in RIGHTS[role] else "refused"


def answered(answer, method):
    """Return what an answer amounts to."""
    asked = method == "GET" and answer.status_code == 302
    if asked and urlsplit(answer.location).path in {"/sign-in", "/switch"}:
        return "sign in"
    if answer.status_code == 401 and method == "POST" and "Nothing that you typed" in answer.text:
        return "sign in"
    return {401: "odd", 403: "refused", 500: "odd"}.get(answer.status_code, "open")


@pytest.mark.parametrize("role", [*Role, NOBODY])
def test_every_route_is_open_to_the_roles_of_its_right_and_to_nobody_else(site, role):
    site.app.config["WTF_CSRF_ENABLED"] = False
    wrong = []
    for endpoint, method, path in routes(site):
        # A new session each time: some routes end it.
        client = site.app.test_client()
        if role != NOBODY:
            client.set_cookie(COOKIE, session_for(site.store, role, shared="switch" in path))
        form = {"text": "no crank"} if method == "POST" else None
        answer = client.open(path, method=method, data=form)
        told = answered(answer, method)
        answer.close()
        if told != expected(right_of(site.app, endpoint), role):
            wrong.append((method, path, told, answer.status_code))
    assert wrong == []
    assert len(routes(site)) > 25


def test_no_write_but_ones_own_is_open_to_somebody_who_only_reads(site):
    writes = {endpoint for endpoint, method, _ in routes(site) if method == "POST"}
    for endpoint in writes - OPEN - OWN:
        assert right_of(site.app, endpoint) not in {None, Right.SEE}, endpoint


def test_what_is_open_to_anybody_is_signing_in_and_nothing_else(site):
    endpoints = {endpoint for endpoint, _, _ in routes(site)}
    assert {endpoint for endpoint in endpoints if right_of(site.app, endpoint) is None} == OPEN


def test_only_the_owner_reaches_people(site):
    about = {e for e, _, _ in routes(site) if e.startswith("people.")}
    assert len(about) == 7
    assert {right_of(site.app, endpoint) for endpoint in about} == {Right.PEOPLE}
