"""Every route held against every role: who gets in, who is refused, who is asked to sign in."""

from urllib.parse import urlsplit

import pytest
from werkzeug.routing import Rule

from tests.web.conftest import session_for
from web.api.place import is_api
from web.auth import COOKIE, needs, right_of
from web.rights import RIGHTS, Right, Role

NOBODY = "nobody"
# Forms that everybody who is signed in may send: about oneself, and a question about a form.
OWN = {"me.choose", "me.shared", "me.end_one", "one_time.end"}
# Open to anybody, signed in or not.
OPEN = {
    "static", "sent.ping", "sign_in.show", "sign_in.enter", "sign_in.switch", "sign_in.hand_over",
    "sign_in.leave", "sign_in.look_at_link", "sign_in.use_link",
}  # fmt: skip
# Written out once more, so that a route that asks for less than it should is seen here.
ASKED = {
    Right.SEE: {
        "cases.show", "customer.of_case", "customer.of_job", "find.show", "jobs.show",
        "jobs.today", "labels.show", "live.job", "live.question", "me.show", "photos.show",
        "sent.show", "trust.show", "week.show", "words.show", "decisions.show", "notes.show",
        "notes.show_all",
    } | OWN,
    Right.WORK: {
        "entries.checks", "entries.codes", "entries.comeback", "entries.complaint",
        "entries.finding", "entries.readings", "entries.tried", "jobs.add", "jobs.open_new",
        "jobs.undo", "jobs.vehicle", "jobs.wait", "photos.add", "pieces.answer_point",
        "pieces.correct_piece",
    },
    Right.CLOSE: {"close.form", "close.send"},
    Right.TEACH: {"words.add", "words.means"},
    Right.DECIDE: {
        "cases.confirm",
        "decisions.add", "decisions.change", "decisions.finish", "decisions.form",
        "decisions.hold", "decisions.take_up", "notes.active", "notes.add", "notes.change",
        "notes.new", "week.again",
    },
    Right.WORDS: {"words.join", "words.merge_form", "words.out", "words.part"},
    Right.PEOPLE: {
        "people.active", "people.add", "people.link", "people.role", "people.sessions",
        "people.show", "people.tablet", "one_time.form", "one_time.begin", "tokens.add", "tokens.revoke",
    },
}  # fmt: skip
# Methods that the tests here send, and those that every server answers by itself.
SENT, BY_ITSELF = {"GET", "POST"}, {"HEAD", "OPTIONS"}


def routes(site):
    """Return endpoint, method and an address for every rule of the site."""
    adapter = site.app.url_map.bind("localhost")
    found = []
    for rule in rules(site):
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


def rights_differ(site):
    """Return the endpoints whose right is not the one that is written out here."""
    rows = [*ASKED.items(), (None, OPEN)]
    asked = {endpoint: right for right, known in rows for endpoint in known}
    stated = {e: right_of(site.app, e) for e in {rule.endpoint for rule in rules(site)}}
    return {e for e in stated.keys() | asked.keys() if stated.get(e, "") != asked.get(e, "")}


def rules(site):
    """Return the rules of the pages; those of programs are held against their tokens elsewhere."""
    return [rule for rule in site.app.url_map.iter_rules() if not is_api(rule.endpoint)]


def odd_methods(site):
    """Return the rules that take what the tests here do not send."""
    return [str(rule) for rule in rules(site) if rule.methods - SENT - BY_ITSELF]


def test_every_route_asks_for_the_right_that_is_written_out_here(site):
    assert rights_differ(site) == set()
    assert odd_methods(site) == []


def test_a_route_that_is_added_or_asks_for_less_is_seen(site, monkeypatch):
    @needs(Right.SEE)
    def fresh():
        return ""

    monkeypatch.setitem(site.app.view_functions, "people.add", fresh)
    # Flask refuses a route that comes this late; its table of rules takes one.
    site.app.view_functions["fresh"] = fresh
    site.app.url_map.add(Rule("/fresh", endpoint="fresh", methods={"DELETE"}))
    assert rights_differ(site) == {"people.add", "fresh"}
    assert odd_methods(site) == ["/fresh"]


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
