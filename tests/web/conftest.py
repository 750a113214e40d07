import re
from dataclasses import replace
from datetime import date
from io import BytesIO

import pytest

from kb.case.model import JobState
from kb.case.terms import load_vocabulary
from kb.store.engine import default_url
from kb.workflow.jobs import draft_job
from tests.factories import a_closing, a_picture
from tests.kb.workflow.conftest import Shop
from web import create_app

WORDS = load_vocabulary()
SEEDS = {
    "S1": ("cold on the road, warm at lights; hi 318 psi low 58 psi", "condenser_fan_dead"),
    "S2": ("warm everywhere, oil film at the line; low 20 psi", "low_charge_leak"),
    "S3": ("no crank, no click; batt 12.6 V", "starter_worn"),
}

OWN_SCRIPT = '<script src="/static/script.js" defer></script>'


def shown(text):
    """Return a page without the one script tag that belongs on it."""
    assert text.count(OWN_SCRIPT) == 1
    return text.replace(OWN_SCRIPT, "")


def closed_case(job_id, text, cause, **changes):
    """Return a case as if ``text`` had been typed on its job."""
    job = draft_job(text, words=WORDS, today=date(2026, 5, 1)).job
    return replace(job, id=job_id, state=JobState.CLOSED, closing=a_closing(cause), **changes)


class Site(Shop):
    """A shop with a few cases, and a browser that looks at its pages."""

    def __init__(self, home):
        super().__init__(default_url(home))
        self.home = home
        self.put(*(closed_case(key, *seed) for key, seed in SEEDS.items()))
        self.app = create_app({"HOME": home, "STORE_URL": self.url})
        self.client = self.app.test_client()

    def put(self, *jobs):
        self.write(lambda unit: unit.jobs.add_many(jobs, verb="import"))

    def page(self, path, status=200):
        answer = self.client.get(path)
        assert answer.status_code == status, answer.text
        return answer.text

    def token(self):
        (found,) = re.findall(r'name="csrf_token" value="([^"]+)"', self.page("/"))
        return found

    def send(self, path, **form):
        """Send a form as a browser does, with the token of the page that it was on."""
        return self.client.post(path, data={"csrf_token": self.token(), **form})

    def opened(self, text="cold on the road, warm at lights", **form):
        """Open a job from Today and return its id."""
        answer = self.send("/jobs", text=text, action="open", **form)
        assert answer.status_code == 302, answer.text
        return answer.location.rsplit("/", 1)[1]

    def with_photo(self, job):
        """Add a photo to a job and return its hash."""
        self.send(f"/job/{job}/photo", photo=(BytesIO(a_picture()), "p.jpg"))
        with self.store.read() as unit:
            return unit.photos.of(job)[-1].content_hash

    def close(self):
        self.app.extensions["baybook"].store.close()
        self.store.close()


@pytest.fixture
def site(tmp_path):
    made = Site(tmp_path)
    yield made
    made.close()
