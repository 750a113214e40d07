import errno
from datetime import UTC, datetime, timedelta

import pytest

from kb.errors import KBError
from kb.workflow.tokens import TRIES, Scope
from tests.web.api.conftest import BASE, Program, problem
from tests.web.conftest import session_for
from web.api.operation import operation_of
from web.api.place import is_api
from web.auth import COOKIE
from web.rights import Role

# Written out once more, so that an operation that asks for less than it should is seen here.
ASKED = {
    "GET /jobs": "read",
    "POST /jobs": "work",
    "GET /jobs/J404": "read",
    "GET /jobs/J404/answers": "read",
    "POST /jobs/J404/texts": "work",
    "POST /jobs/J404/readings": "work",
    "POST /jobs/J404/findings": "work",
    "POST /jobs/J404/codes": "work",
    "POST /jobs/J404/photos": "work",
    "GET /photos/J404": "read",
    "POST /closings": "close",
    "GET /find": "read",
    "GET /week": "week",
    "GET /changes": "read",
    "GET /words": "read",
    "GET /openapi.json": None,
}


def routes(site):
    """Return method and address of every operation, with what it states."""
    adapter = site.app.url_map.bind("localhost")
    found = {}
    for rule in site.app.url_map.iter_rules():
        if is_api(rule.endpoint):
            path = adapter.build(rule.endpoint, dict.fromkeys(rule.arguments, "J404"))
            for method in rule.methods - {"HEAD", "OPTIONS"}:
                stated = operation_of(site.app, rule.endpoint)
                found[f"{method} {path.removeprefix(BASE)}"] = stated
    return found


def asked(client, route, **known):
    method, _, path = route.partition(" ")
    return client.open(BASE + path, method=method, **known)


def test_every_operation_asks_for_the_scope_that_is_written_out_here(site):
    assert {route: stated.scope for route, stated in routes(site).items()} == ASKED


@pytest.mark.parametrize("scope", Scope)
def test_a_token_opens_the_operations_of_its_scope_and_no_other(site, scope):
    program = Program(site, scope)
    wrong = []
    for route, needed in ASKED.items():
        answer = asked(program.client, route, headers=program.head)
        refused = answer.status_code == 403
        if refused != (needed not in {None, scope}):
            wrong.append((route, answer.status_code))
        if refused:
            told = f'Bearer error="insufficient_scope", scope="{needed}"'
            assert answer.headers["WWW-Authenticate"] == told
    assert wrong == []


@pytest.mark.source("RFC 6750", "section 3: WWW-Authenticate of a refused bearer token")
def test_without_a_token_nothing_is_told_but_the_description(site):
    client = site.app.test_client()
    for route, needed in ASKED.items():
        answer = asked(client, route)
        if needed is None:
            assert answer.status_code == 200
        else:
            problem(answer, 401)
            assert answer.headers["WWW-Authenticate"] == "Bearer"


@pytest.mark.parametrize("role", [Role.OWNER, Role.TECHNICIAN])
def test_a_cookie_lets_no_program_in(site, role):
    client = site.app.test_client()
    client.set_cookie(COOKIE, session_for(site.store, role))
    for route, scope in ASKED.items():
        if scope:
            assert asked(client, route).status_code == 401


def test_a_token_opens_no_page(site, program):
    for path in ("/", "/people", "/job/S1"):
        answer = program.client.get(path, headers=program.head)
        assert answer.status_code == 302
        assert answer.location.startswith("/sign-in")


@pytest.mark.parametrize(
    "header", ["", "Bearer", "Bearer ", "Basic x", "bearer", "Token baybook_x", "baybook_x"]
)
def test_what_is_no_bearer_token_is_told_so(standing, header):
    answer = standing.client.get(BASE + "/jobs", headers={"Authorization": header})
    assert "Authorization with Bearer" in problem(answer, 401)["detail"]


def test_a_token_that_ended_or_was_taken_back_is_told_so_and_noted(site, program):
    site.write(lambda unit: unit.tokens.revoke(program.made.stored.id))
    told = problem(program.get("/jobs"), 401)
    assert "taken back" in told["detail"]
    answer = program.get("/jobs")
    assert answer.headers["WWW-Authenticate"] == 'Bearer error="invalid_token"'
    (log,) = (site.home / "log").iterdir()
    assert "token of a program refused" in log.read_text()
    assert program.made.secret not in log.read_text()
    late = Program(site, name="late")
    site.app.config["NOW"] = lambda: datetime.now(UTC) + timedelta(days=366)
    problem(late.get("/jobs"), 401)


def test_wrong_tokens_are_told_to_wait(site, program):
    client = site.app.test_client()
    wrong = {"Authorization": "Bearer baybook_wrong"}
    for _ in range(TRIES):
        problem(client.get(BASE + "/jobs", headers=wrong), 401)
    answer = client.get(BASE + "/jobs", headers=wrong)
    problem(answer, 429)
    assert 0 < int(answer.headers["Retry-After"]) <= 15 * 60
    assert program.get("/jobs").status_code == 200


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://localhost:9"])
def test_a_page_of_another_site_writes_nothing(standing, origin):
    answer = standing.send("/jobs", {"text": "no crank"}, headers={"Origin": origin})
    problem(answer, 403)
    assert standing.told("/jobs") == {"jobs": []}


def test_a_foreign_name_of_this_machine_is_told_nothing(standing):
    answer = standing.get("/jobs", base_url="http://evil.example")
    problem(answer, 400)


def test_no_answer_is_kept_by_a_cache_and_none_sets_a_cookie(site, program):
    for answer in (program.get("/jobs"), program.get("/jobs/J404"), program.send("/jobs", {})):
        assert answer.headers["Cache-Control"] == "no-store"
        assert "Set-Cookie" not in answer.headers


def test_who_writes_is_the_program(site, program):
    job = program.opened()
    assert [line.who for line in site.history(job)] == ["billing (program)"]


@pytest.mark.parametrize(
    ("path", "said"),
    [
        ("/find", "text"),
        ("/find?text=", "text"),
        ("/find?text=%20", "text"),
        ("/find?text=x&top=0", "top"),
        ("/find?text=x&top=51", "top"),
        ("/find?text=x&top=1e1", "top"),
        ("/find?text=x&top=true", "top"),
        ("/find?text=x&more=1", "more"),
        ("/changes?since=-1", "since"),
        ("/changes?since=1", "since"),
        ("/week?week=2026-W5", "week"),
    ],
)
def test_a_question_that_is_not_as_described_is_refused_by_place(standing, path, said):
    told = problem(standing.get(path), 400)
    assert [said] in [row["loc"] for row in told["errors"]]


def test_a_name_that_stands_twice_or_is_not_asked_for_is_refused(standing):
    assert "several times" in problem(standing.get("/find?text=x&text=y"), 400)["detail"]
    assert "leave it out" in problem(standing.get("/words?x=1"), 400)["detail"]


@pytest.mark.parametrize(
    ("data", "status"),
    [
        (b"", 422),
        (b"{", 422),
        (b"[]", 422),
        (b"null", 422),
        (b'{"text": "x", "text2": "y"}', 422),
        (b'{"text": 1}', 422),
        (b'{"text": ""}', 422),
        (b'{"text": "a\\u0000b"}', 422),
        (b'{"text": "\\ud800"}', 422),
        (b'{"text": "\xff"}', 422),
        (b'{"text": "x", "vehicle": {"year": NaN}}', 422),
        (b'{"text": "x", "vehicle": {"odometer": 1e400}}', 422),
        (b'{"text": "x", "vehicle": {"odometer": true}}', 422),
        (b"[" * 100_000, 422),
        (b'{"text": "' + b"x" * 20_001 + b'"}', 422),
        (b'{"text": "' + b"x" * 1_000_000 + b'"}', 413),
    ],
)
def test_a_body_that_is_not_as_described_is_refused_and_writes_nothing(standing, data, status):
    answer = standing.send("/jobs", data=data, content_type="application/json")
    problem(answer, status)
    assert standing.told("/jobs") == {"jobs": []}


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", ""])
def test_a_body_of_another_type_is_refused(standing, kind):
    answer = standing.send("/jobs", data=b'{"text": "x"}', content_type=kind)
    problem(answer, 415)
    assert answer.headers["Accept"] == "application/json"


def test_a_secret_that_was_sent_in_a_wrong_place_is_not_repeated(standing):
    answer = standing.send("/jobs", {"text": "x", "password": "hunter2hunter2"})
    problem(answer, 422)
    assert "hunter2" not in answer.text


@pytest.mark.source("RFC 9110", "section 15.5.6: a 405 names the methods in Allow")
def test_a_method_that_an_address_does_not_take_is_told_which_it_does(standing):
    answer = standing.client.delete(BASE + "/jobs", headers=standing.head)
    problem(answer, 405)
    assert {"GET", "POST"} <= set(answer.headers["Allow"].split(", "))


def test_an_address_that_leads_nowhere_is_a_problem_too(standing):
    assert "openapi.json" in problem(standing.get("/nothing"), 404)["detail"]
    problem(standing.client.get(BASE), 404)


def test_a_fault_tells_its_number_and_nothing_of_the_program(site, program, monkeypatch):
    def broken(*_):
        raise ZeroDivisionError("the secret inside")

    monkeypatch.setattr("web.api.jobs.job_of", broken)
    told = problem(program.get("/jobs/S1/answers"), 500)
    assert "secret" not in told["detail"]
    (log,) = (site.home / "log").iterdir()
    number = told["detail"].rsplit(" ", 1)[1]
    assert f'"id": "{number}"' in log.read_text()


def test_an_error_that_nobody_named_is_a_refusal_and_no_fault(standing, monkeypatch):
    def refuse(*_):
        raise KBError("expected one, got none")

    monkeypatch.setattr("web.api.jobs.job_of", refuse)
    assert problem(standing.get("/jobs/S1/answers"), 422)["detail"] == "expected one, got none"


@pytest.mark.source("RFC 4918", "section 11.5: 507 Insufficient Storage")
def test_a_full_disk_is_told_as_such(standing, monkeypatch):
    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("web.api.jobs.job_of", full)
    answer = standing.get("/jobs/S1/answers")
    problem(answer, 507)
    assert answer.headers["Retry-After"] == "5"
