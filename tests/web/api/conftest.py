from datetime import UTC, datetime
from itertools import count

import pytest

from kb.workflow.tokens import Scope, make_token
from tests.web.conftest import Site

BASE = "/api/v1"
MEDIA = "application/problem+json"
CLOSING = {
    "cause": "condenser_fan_dead",
    "proofs": [{"method": "seen", "text": "blades stand still at 12.4 V"}],
    "fix": "replaced",
}


class Program:
    """Asks the API of a site under a token of its own."""

    def __init__(self, site, *scopes, name="billing"):
        at = datetime.now(UTC)
        self.made = site.write(make_token, name, scopes or tuple(Scope), at=at)
        self.site, self.job = site, ""
        self.client = site.app.test_client()
        self.head = {"Authorization": f"Bearer {self.made.secret}"}
        self._keys = (f"{name}-{number}" for number in count())

    def get(self, path, **known):
        return self.client.get(BASE + path, headers=self.head, **known)

    def send(self, path, body=None, *, key="", **known):
        """Post a body under a key of its own, or under ``key``; None sends none."""
        head = dict(self.head)
        if key is not None:
            head["Idempotency-Key"] = key or next(self._keys)
        head |= known.pop("headers", {})
        sent = {"json": body} if body is not None else {}
        return self.client.post(BASE + path, headers=head, **sent, **known)

    def told(self, path, status=200):
        answer = self.get(path)
        assert answer.status_code == status, answer.text
        return answer.json

    def opened(self, text="cold on the road, warm at lights", **fields):
        answer = self.send("/jobs", {"text": text, **fields})
        assert answer.status_code == 201, answer.text
        return answer.json["job"]


@pytest.fixture
def site(tmp_path):
    made = Site(tmp_path)
    yield made
    made.close()


@pytest.fixture
def program(site):
    """Return a program that may do everything."""
    return Program(site)


def problem(answer, status):
    """Return a problem, held against RFC 9457."""
    assert answer.status_code == status, answer.text
    assert answer.content_type == MEDIA
    told = answer.json
    assert told["status"] == status
    assert {"type", "title", "detail"} <= set(told)
    assert "Traceback" not in answer.text
    return told


@pytest.fixture(scope="module")
def standing(tmp_path_factory):
    """Return a program of a shop that stays as it is: for what is refused."""
    made = Site(tmp_path_factory.mktemp("standing"))
    yield Program(made)
    made.close()
