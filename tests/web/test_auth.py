from datetime import UTC, datetime, timedelta

import pytest

from kb.workflow.people import token_hash
from tests.web.conftest import Browser, session_for
from web.api.place import is_api
from web.auth import COOKIE, Person, right_of
from web.rights import Right, Role


def test_every_route_states_its_right(site):
    stated = {
        rule.endpoint: right_of(site.app, rule.endpoint)
        for rule in site.app.url_map.iter_rules()
        if not is_api(rule.endpoint)
    }
    assert stated["jobs.today"] is Right.SEE
    assert stated["jobs.add"] is Right.WORK
    assert stated["static"] is None


def test_a_route_that_states_no_right_stays_shut(site):
    site.app.add_url_rule("/bare", "bare", lambda: "open")
    assert site.client.get("/bare").status_code == 500
    assert site.as_nobody().client.get("/bare").status_code == 500


def test_a_person_may_what_the_role_may():
    assert Person(name="Ines", role=Role.TECHNICIAN).may(Right.CLOSE)
    assert not Person(name="Ines", role=Role.VIEWER).may(Right.WORK)


# --- nobody is signed in -------------------------------------------------------------------------


@pytest.mark.parametrize("path", ["/", "/find?q=no+crank&vehicle=x", "/job/J000001", "/people"])
def test_a_page_leads_nobody_to_the_sign_in_and_back(site, path):
    answer = site.as_nobody().client.get(path)
    assert answer.status_code == 302
    asked = site.as_nobody().client.get(answer.location).text
    shown = path.replace("&", "&amp;")
    assert f'name="next" value="{shown}"' in asked


@pytest.mark.parametrize(
    "headers", [{"X-Requested-With": "fetch"}, {"Accept": "application/json"}], ids=["mark", "json"]
)
@pytest.mark.parametrize("method", ["GET", "POST"])
def test_a_script_gets_a_plain_401(site, headers, method):
    answer = site.as_nobody().client.open("/", method="GET", headers=headers)
    if method == "POST":
        form = {"text": "no crank"}
        answer = site.as_nobody().client.post("/jobs", data=form, headers=headers)
    assert (answer.status_code, answer.mimetype) == (401, "text/plain")
    assert answer.text == "expected somebody signed in, got nobody; sign in, then send it again\n"


def test_who_may_not_is_told_what_to_do(site):
    viewer = site.as_role(Role.VIEWER)
    answer = viewer.send("/jobs", text="no crank, one click")
    assert answer.status_code == 403
    assert "ask the owner for the role" in answer.text
    # Nothing typed is thrown away: it can still be read, and told to somebody who may.
    assert "<dd>no crank, one click</dd>" in answer.text
    with site.store.read() as unit:
        assert unit.jobs.open_jobs() == ()


def test_who_only_reads_is_offered_no_form_to_write_in(site):
    job = site.opened()
    viewer, worker = site.as_role(Role.VIEWER), site.as_role(Role.ADVISOR)
    for path in ("/", f"/job/{job}"):
        assert 'method="post"' in main_part(worker.page(path))
        assert 'method="post"' not in main_part(viewer.page(path))
    assert 'href="/find"' in main_part(viewer.page("/"))


def main_part(page):
    return page.split("<main", 1)[1]


# --- the session ---------------------------------------------------------------------------------


def test_a_session_that_was_ended_is_good_no_more_at_the_next_request(site):
    ines = site.as_role(Role.TECHNICIAN)
    ines.page("/")
    site.write(lambda unit: unit.sessions.end(token_hash(ines.session)))
    assert ines.client.get("/").status_code == 302


def test_a_new_role_holds_at_the_next_request(site):
    ines = site.as_role(Role.TECHNICIAN)
    ines.page("/people", 403)
    ines_id = person_id(site, "the technician")
    site.write(lambda unit: unit.people.set_role(ines_id, "owner"))
    ines.page("/people")
    site.write(lambda unit: unit.people.set_active(ines_id, active=False))
    assert ines.client.get("/people").status_code == 302


def person_id(site, name):
    with site.store.read() as unit:
        return unit.people.named(name).id


def test_a_guessed_or_stored_token_opens_nothing(site):
    for token in ("x", "", token_hash(site.session)):
        assert Browser(site.app, token).client.get("/").status_code == 302


def test_the_store_keeps_no_token(site):
    site.store.close()
    stored = b"".join(path.read_bytes() for path in site.home.glob("baybook.db*"))
    assert token_hash(site.session).encode() in stored
    assert site.session.encode() not in stored


def test_use_of_a_session_is_noted_at_most_once_a_minute(site):
    def seen():
        with site.store.read() as unit:
            return unit.sessions.find(token_hash(site.session)).last_seen

    first = seen()
    site.page("/")
    assert seen() == first
    later = datetime.now(UTC) + timedelta(minutes=2)
    site.app.config["NOW"] = lambda: later
    site.page("/")
    assert seen() == later


def test_a_page_of_ones_own_device_is_open_after_hours_a_shared_tablet_asks_who_it_is(site):
    own, tablet = site.as_role(Role.TECHNICIAN), site.as_role(Role.TECHNICIAN, shared=True)
    tablet.page("/")
    site.app.config["NOW"] = lambda: datetime.now(UTC) + timedelta(minutes=16)
    own.page("/")
    assert tablet.client.get("/find?q=x").location == "/switch?next=/find?q%3Dx"
    # Nobody's now, even for a clock that was wrong.
    site.app.config["NOW"] = None
    assert tablet.client.get("/").location == "/switch?next=/"


def test_asking_whether_the_shop_can_be_reached_is_no_sign_of_anybody(site):
    tablet = site.as_role(Role.TECHNICIAN, shared=True)
    for minutes in (5, 10, 14, 16):
        moment = datetime.now(UTC) + timedelta(minutes=minutes)
        site.app.config["NOW"] = lambda moment=moment: moment
        assert tablet.client.get("/sent/ping").status_code == 204
    assert tablet.client.get("/").location == "/switch?next=/"


def test_static_files_ask_nobody(site):
    answer = Browser(site.app, "x").client.get("/static/style.css")
    assert answer.status_code == 200
    answer.close()


def test_the_pages_say_who_is_signed_in_and_people_only_to_the_owner(site):
    owner, viewer = site.page("/"), site.as_role(Role.VIEWER).page("/")
    assert 'href="/people"' in owner
    assert 'href="/people"' not in viewer
    assert "the viewer" in viewer
    assert "Switch person" not in viewer
    assert "Switch person" in site.as_role(Role.VIEWER, shared=True).page("/")
    assert "Sign out" not in site.as_nobody().page("/sign-in")


def test_two_sessions_of_one_person_have_tokens_of_their_own(site):
    one, two = (session_for(site.store, Role.VIEWER) for _ in range(2))
    assert one != two
    assert len(one) >= 43  # 32 bytes in base 64
    assert Browser(site.app, one).client.get_cookie(COOKIE).value == one


@pytest.mark.parametrize(("length", "kept"), [(7_000, True), (9_000, False)])
def test_a_query_longer_than_any_pages_is_not_carried_through_the_sign_in(site, length, kept):
    answer = site.as_nobody().client.get("/find?q=" + "x" * length)
    assert answer.location.startswith("/sign-in?next=/find")
    assert (answer.location.count("xx") * 2 == length) is kept
