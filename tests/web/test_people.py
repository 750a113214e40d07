import re

from tests.web.conftest import Browser, session_for, shown
from web.auth import COOKIE
from web.hosts import own_names
from web.people import ROLE_WORDS
from web.rights import Role

SCRIPT = "<script>alert(1)</script>"


def named(site, name):
    with site.store.read() as unit:
        return unit.people.named(name)


def lines(site):
    with site.store.read() as unit:
        return [(line.who, line.verb, line.what) for line in unit.history.since(0)]


def link_in(page):
    (path,) = re.findall(r'id="link" value="http://localhost(/sign-in/[^"]+)"', page)
    return path


def test_every_role_is_told_in_words():
    assert set(ROLE_WORDS) == set(Role)


def test_a_person_is_added_and_signs_in_by_the_link_that_is_shown_once(site):
    answer = site.send("/people", name="Ines Holm", role="technician")
    assert answer.status_code == 200
    assert answer.headers["Cache-Control"] == "no-store"
    path = link_in(answer.text)
    assert "/sign-in/" not in site.page("/people")
    ines = site.as_nobody()
    token = re.findall(r'name="csrf_token" value="([^"]+)"', ines.page(path))[0]
    ines.client.post(path, data={"csrf_token": token, "pin": "4711"})
    page = ines.page("/me")
    assert "Ines Holm, technician" in page
    assert lines(site)[-4:] == [
        ("shop", "person added", "Ines Holm as technician"),
        ("shop", "link", "for Ines Holm"),
        ("Ines Holm", "link taken", "Ines Holm"),
        ("Ines Holm", "PIN", "Ines Holm"),
    ]


def test_a_link_is_a_code_for_a_phone_only_where_a_phone_would_get_here(site):
    here = site.send("/people", name="Ines", role="viewer").text
    assert "<img" not in here
    assert "works on this machine alone" in here
    site.app.config["SHOP_HOSTS"] = own_names()
    form = {"csrf_token": site.token(), "name": "Bo", "role": "viewer"}
    shop = "http://192.168.1.4:8023"
    site.client.set_cookie("baybook_forms", site.client.get_cookie("baybook_forms").value,
                           domain="192.168.1.4")  # fmt: skip
    site.client.set_cookie(COOKIE, site.session, domain="192.168.1.4")
    answer = site.client.post("/people", data=form, base_url=shop)
    assert f'value="{shop}/sign-in/' in answer.text
    assert re.search(r'<img src="data:image/svg\+xml[^"]+" alt="The same link', answer.text)


def test_a_name_that_is_taken_or_none_keeps_what_was_typed(site):
    assert site.send("/people", name="Ines", role="foreman").status_code == 200
    taken = site.send("/people", name="INES", role="foreman")
    assert taken.status_code == 409
    assert 'value="INES"' in taken.text
    assert '<option value="foreman" selected>' in taken.text
    assert 'aria-describedby="name-error"' in taken.text
    for form in ({"name": " ", "role": "viewer"}, {"name": "Bo", "role": "king"}):
        assert site.send("/people", **form).status_code == 400
    assert named(site, "Bo") is None


def test_a_form_sent_twice_adds_one_person(site):
    for _ in range(2):
        site.send("/people", name="Ines", role="viewer", form_id="a" * 32)
    with site.store.read() as unit:
        assert [row.name for row in unit.people.all()] == ["Ines", "shop"]


def test_names_with_script_are_shown_as_typed_everywhere(site):
    site.send("/people", name=SCRIPT, role="owner")
    tablet = site.as_role(Role.VIEWER, shared=True)
    path = link_in(site.send(f"/people/{named(site, SCRIPT).id}/link").text)
    pages = [site.page("/people"), tablet.page("/switch"), site.as_nobody().page(path)]
    for page in pages:
        assert "<script>alert" not in shown(page)
        assert "&lt;script&gt;alert(1)&lt;/script&gt;" in page


def test_a_role_is_changed_by_the_owner(site):
    viewer = site.as_role(Role.VIEWER)
    person = named(site, "the viewer")
    assert site.send(f"/people/{person.id}/role", role="foreman").location == "/people"
    assert ("shop", "role", "the viewer: viewer, now foreman") in lines(site)
    assert viewer.client.get("/me").status_code == 302
    again = Browser(site.app, session_for(site.store, Role.VIEWER))
    assert "foreman" in again.page("/me")
    assert site.send(f"/people/{person.id}/role", role="king").status_code == 400


def test_the_last_owner_can_neither_step_down_nor_be_taken_out(site):
    owner = named(site, "shop")
    for path, form in (("role", {"role": "viewer"}), ("active", {"active": "no"})):
        answer = site.send(f"/people/{owner.id}/{path}", **form)
        assert answer.status_code == 409
        assert "make somebody else an owner first" in answer.text
    assert named(site, "shop") == owner


def test_who_is_taken_out_is_out_at_once_and_can_be_brought_back(site):
    viewer = site.as_role(Role.VIEWER)
    person = named(site, "the viewer")
    site.send(f"/people/{person.id}/active", active="no")
    assert viewer.client.get("/").status_code == 302
    page = site.page("/people")
    assert "Taken out" in page
    assert "Bring the viewer back" in page
    assert site.send(f"/people/{person.id}/link").status_code == 409
    site.send(f"/people/{person.id}/active", active="yes")
    assert named(site, "the viewer").active


def test_a_person_is_signed_out_everywhere(site):
    own, tablet = site.as_role(Role.VIEWER), site.as_role(Role.VIEWER, shared=True)
    site.send(f"/people/{named(site, 'the viewer').id}/sessions")
    assert own.client.get("/").location == "/sign-in?next=/"
    assert tablet.client.get("/").location == "/switch?next=/"


def test_a_lost_tablet_is_ended_and_no_other_session_by_the_same_form(site):
    own, tablet = site.as_role(Role.VIEWER), site.as_role(Role.VIEWER, shared=True)
    (shown_hash,) = re.findall(r'name="session" value="([0-9a-f]{64})"', site.page("/people"))
    with site.store.read() as unit:
        others = [row.token_hash for row in unit.sessions.of(named(site, "the viewer").id)]
    for token_hash in [*others, shown_hash]:
        site.send("/people/tablets", session=token_hash)
    assert own.client.get("/").status_code == 200
    assert tablet.client.get("/").location == "/sign-in?next=/"


def test_a_number_that_no_store_can_hold_is_not_found(site):
    for end in ("link", "active", "sessions"):
        assert site.send(f"/people/{'9' * 30}/{end}").status_code == 404
    assert site.send(f"/people/{'9' * 30}/role", role="viewer").status_code == 404


def test_a_person_that_nobody_knows_is_not_found(site):
    for path in ("link", "role", "active", "sessions"):
        answer = site.send(f"/people/404/{path}", role="viewer")
        assert answer.status_code == 404
        assert "look at People" in answer.text


def test_a_role_is_chosen_by_one_word_and_said_in_full_beside(site):
    text = site.page("/people")
    assert '<option value="technician" selected>technician</option>' in text
    for role, words in ROLE_WORDS.items():
        assert f"<dt>{role.capitalize()}</dt><dd>{words}</dd>" in text
