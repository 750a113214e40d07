"""Role, route, own or another's: what belongs to one person is out of reach of every other."""

from datetime import UTC, datetime

import pytest

from kb.workflow.people import choose_secrets, hashed, link_for, token_hash
from kb.workflow.sign_in import open_session
from tests.web.conftest import QUICK, Browser
from tests.web.test_routes import OPEN, OWN, routes
from web.auth import right_of
from web.rights import RIGHTS, Right, Role

# Endpoints that write about whoever sends them, and those about any person of the shop.
ABOUT_ONESELF = OWN | {"one_time.begin", "sign_in.leave"}
ABOUT_PEOPLE = {
    "people.active", "people.add", "people.link", "people.role", "people.sessions",
    "people.tablet",
}  # fmt: skip


class Bo:
    """Somebody else, with all that a person can have."""

    def __init__(self, site, name="Bo"):
        self.site, self.name, at = site, name, datetime.now(UTC)
        with site.store.write("Ines", at) as unit:
            self.id = unit.people.add(name, "owner")
            choose_secrets(unit, self.id, hashed("shop rain lamp", "4711", hasher=QUICK))
            unit.people.set_code(self.id, secret="A" * 32, step=1)
            self.own = open_session(unit, self.id, at, shared=False)
            self.tablet = open_session(unit, self.id, at, shared=True)
            self.link = link_for(unit, self.id, at)

    def stands(self):
        """Return all that is kept of this person."""
        with self.site.store.read() as unit:
            sessions = [(row.token_hash, row.person_id) for row in unit.sessions.of(self.id)]
            link = unit.links.find(token_hash(self.link))
            return unit.people.get(self.id), sorted(sessions), link

    def fields(self):
        """Return a form that names this person in every way that one can be named."""
        return {
            "session": token_hash(self.own), "token": self.own, "person_id": self.id,
            "id": self.id, "name": self.name, "username": self.name, "person": self.name, "active": "no",
            "role": "viewer", "shared": "no", "password": "another lamp post", "pin": "0000",
            "present": "shop rain lamp", "one_time": "000000", "secret": "B" * 32,
        }  # fmt: skip


@pytest.fixture
def bo(site):
    return Bo(site)


def writes(site):
    """Return the address of each endpoint that writes."""
    return {endpoint: path for endpoint, method, path in routes(site) if method == "POST"}


def test_every_write_about_a_person_is_among_those_tried_here(site):
    about = {
        endpoint
        for endpoint in writes(site)
        if endpoint.partition(".")[0] in {"me", "one_time", "people", "sign_in"}
    }
    assert about == ABOUT_ONESELF | ABOUT_PEOPLE | (OPEN & set(writes(site)))


@pytest.mark.parametrize("role", list(Role))
def test_what_is_about_oneself_never_reaches_another(site, bo, role):
    before, told = bo.stands(), {}
    for endpoint in sorted(ABOUT_ONESELF):
        somebody = site.as_role(role)
        answer = somebody.send(writes(site)[endpoint], **bo.fields())
        told[endpoint] = answer.status_code
        assert bo.stands() == before, endpoint
    assert not [endpoint for endpoint, code in told.items() if code >= 500]
    assert told["me.end_one"] == 302


@pytest.mark.parametrize("role", list(Role))
def test_only_who_names_the_people_reaches_another(site, role):
    may, changed = Right.PEOPLE in RIGHTS[role], set()
    adapter = site.app.url_map.bind("localhost")
    for endpoint in ABOUT_PEOPLE - {"people.add"}:
        bo = Bo(site, f"Bo of {endpoint}")
        before, fields, known = bo.stands(), bo.fields(), {"person_id": bo.id}
        if endpoint == "people.tablet":
            fields["session"], known = token_hash(bo.tablet), {}
        answer = site.as_role(role).send(adapter.build(endpoint, known), **fields)
        assert (answer.status_code == 403) is not may, endpoint
        if bo.stands() != before:
            changed.add(endpoint)
    assert changed == (ABOUT_PEOPLE - {"people.add"} if may else set())


@pytest.mark.parametrize("role", list(Role))
def test_ones_own_session_is_ended_by_oneself(site, role):
    here, lost = site.as_role(role), site.as_role(role)
    here.send("/me/sessions", session=token_hash(lost.session))
    assert lost.client.get("/").status_code == 302
    assert here.client.get("/").status_code == 200


def test_no_session_is_a_key_to_the_sessions_of_others(site, bo):
    for role in Role:
        page = site.as_role(role).page("/me")
        assert token_hash(bo.own) not in page
        assert token_hash(bo.tablet) not in page
    # What the page shows is the hash: it opens nothing.
    assert Browser(site.app, token_hash(bo.own)).client.get("/").status_code == 302


def test_every_right_is_somebodys_and_no_role_has_one_of_its_own_making(site):
    stated = {right_of(site.app, endpoint) for endpoint in writes(site)}
    assert stated - {None} <= set(Right)
    assert set().union(*RIGHTS.values()) == set(Right)
