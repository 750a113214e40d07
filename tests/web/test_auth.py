from web.auth import Person, right_of
from web.rights import Right, Role


def test_every_route_states_its_right(site):
    stated = {
        rule.endpoint: right_of(site.app, rule.endpoint) for rule in site.app.url_map.iter_rules()
    }
    assert stated["jobs.today"] is Right.SEE
    assert stated["jobs.add"] is Right.WORK
    assert stated["static"] is None


def test_a_route_that_states_no_right_stays_shut(site):
    site.app.add_url_rule("/bare", "bare", lambda: "open")
    assert site.client.get("/bare").status_code == 500


def test_a_person_may_what_the_role_may():
    assert Person(name="Ines", role=Role.TECHNICIAN).may(Right.CLOSE)
    assert not Person(name="Ines", role=Role.VIEWER).may(Right.WORK)
