import json
import re
from collections import Counter
from contextlib import suppress

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.errors import Unsatisfiable
from openapi_spec_validator import OpenAPIV31SpecValidator
from schemathesis import GenerationMode
from schemathesis.specs.openapi.checks import positive_data_acceptance

from tests.web.api.conftest import BASE, Program
from tests.web.conftest import Site
from web.api.description import describe
from web.api.operation import operation_of
from web.api.place import is_api


@pytest.fixture(scope="module")
def busy(tmp_path_factory):
    """Return a program of a shop with an open job, where much may be written."""
    site = Site(tmp_path_factory.mktemp("busy"))
    made = Program(site)
    made.job = made.opened(invoice="R1")
    yield made
    site.close()


@pytest.fixture(scope="module")
def described(busy):
    return busy.client.get(BASE + "/openapi.json").json


@pytest.mark.source("OpenAPI 3.1", "the published schema, as openapi-spec-validator holds it")
def test_the_description_is_sound(described):
    assert described["openapi"].startswith("3.1")
    assert list(OpenAPIV31SpecValidator(described).iter_errors()) == []


def test_the_description_is_of_every_route_and_of_nothing_else(busy, described):
    told = {(method.upper(), path) for path, row in described["paths"].items() for method in row}
    routes = {
        (method, re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", str(rule)))
        for rule in busy.site.app.url_map.iter_rules()
        if is_api(rule.endpoint)
        for method in rule.methods - {"HEAD", "OPTIONS"}
    }
    assert told == routes
    assert len(told) == 16


def test_the_description_says_of_each_route_what_is_checked(busy, described):
    app = busy.site.app
    for rule in app.url_map.iter_rules():
        if not is_api(rule.endpoint):
            continue
        stated = operation_of(app, rule.endpoint)
        path = re.sub(r"<(\w+)>", r"{\1}", str(rule))
        for method in rule.methods - {"HEAD", "OPTIONS"}:
            row = described["paths"][path][method.lower()]
            assert row["summary"]
            assert row.get("x-token-may") == stated.scope
            assert ("requestBody" in row) == (method == "POST")
            assert stated.keyed == (method == "POST")
            keys = [part["name"] for part in row["parameters"] if part["in"] == "header"]
            assert keys == (["Idempotency-Key"] if stated.keyed else [])
            assert {str(status) for status in stated.gives} <= set(row["responses"])


def test_every_name_that_is_referred_to_is_there(described):
    text = json.dumps(described)
    names = set(re.findall(r'"#/components/schemas/(\w+)"', text))
    assert names <= set(described["components"]["schemas"])
    assert "ClosingAsked" in names


def test_no_body_takes_a_name_that_is_not_described(described):
    asked = {k: v for k, v in described["components"]["schemas"].items() if k.endswith("Asked")}
    assert len(asked) > 10
    assert all(row["additionalProperties"] is False for row in asked.values())


def test_the_description_is_the_same_each_time(busy):
    assert json.dumps(describe(busy.site.app)) == json.dumps(describe(busy.site.app))


# A body may be as described and yet name no check, cause or photo of this shop.
LEFT_OUT = [positive_data_acceptance]
EACH = settings(
    max_examples=4,
    deadline=None,
    database=None,
    derandomize=True,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)


def cases(busy, mode):
    """Return a strategy of requests for each operation; half of them about a job that is there."""
    schema = schemathesis.openapi.from_wsgi(BASE + "/openapi.json", busy.site.app)
    for found in schema.get_all_operations():
        operation = found.ok()  # type: ignore[union-attr]
        made = operation.as_strategy(generation_mode=mode)
        if "{job_id}" in operation.path:
            known = operation.as_strategy(
                generation_mode=mode, path_parameters={"job_id": busy.job}
            )
            made = made | known
        yield made


@pytest.mark.slow
@pytest.mark.parametrize("mode", [GenerationMode.POSITIVE, GenerationMode.NEGATIVE])
def test_whatever_is_sent_is_answered_as_described_and_breaks_nothing(busy, mode, monkeypatch):
    # Each answer is asked for again with wrong tokens, far more often than an address may.
    monkeypatch.setattr("kb.workflow.tokens.TRIES", 10**6)
    asked: Counter[str] = Counter()
    answered: Counter[int] = Counter()

    def ask(case):
        answer = case.call_and_validate(headers=busy.head, excluded_checks=LEFT_OUT)
        asked[case.operation.label] += 1
        answered[answer.status_code] += 1

    for strategy in cases(busy, mode):
        # An operation without anything to get wrong has no wrong requests.
        with suppress(Unsatisfiable):
            EACH(given(strategy)(ask))()
    assert len(asked) >= 12
    assert asked.total() >= 50
    assert not [status for status in answered if status >= 500]
    if mode is GenerationMode.POSITIVE:
        assert answered[200] + answered[201] >= 10
    with busy.site.store.read() as unit:
        assert unit.jobs.verify_hashes() == ()
