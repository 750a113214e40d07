import re
from dataclasses import replace
from datetime import UTC, date, datetime
from io import BytesIO
from typing import ClassVar
from urllib.parse import urlencode

import pytest

from kb.case.model import JobState
from kb.case.terms import load_vocabulary
from kb.store.engine import default_url
from kb.workflow.jobs import draft_job
from kb.workflow.notes import write_note
from kb.workflow.passwords import Hasher
from kb.workflow.people import link_for
from kb.workflow.sign_in import open_session
from kb.workflow.week.kept import kept_text
from kb.workflow.week.rows import WeekRow
from tests.factories import a_closing, a_picture
from tests.kb.workflow.conftest import Shop
from web import create_app
from web.auth import COOKIE
from web.rights import Role
from web.week_words.rows import SAY
from web.week_words.said import Said

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


def without_keys(text):
    """Return a page without its hidden values: keys of forms are random and may hold any word."""
    return re.sub(r'(type="hidden"[^>]*) value="[^"]*"', r"\1", text)


def closed_case(job_id, text, cause, **changes):
    """Return a case as if ``text`` had been typed on its job."""
    job = draft_job(text, words=WORDS, today=date(2026, 5, 1)).job
    return replace(job, id=job_id, state=JobState.CLOSED, closing=a_closing(cause), **changes)


# Cheap on purpose: what a hash costs is the library's concern.
QUICK = Hasher(rounds=1, memory_kib=8, lanes=1)


def session_for(store, role, *, shared=False):
    """Return the token of a new session of the one person of that role, who has no secrets."""
    name = "shop" if role is Role.OWNER else f"the {role}"
    at = datetime.now(UTC)
    with store.write("Ines", at) as unit:
        person = unit.people.named(name)
        person_id = person.id if person else unit.people.add(name, str(role))
        return open_session(unit, person_id, at, shared=shared)


# Pages of the week wait here until it is counted, however busy the machine is.
PATIENT = {"WEEK_PATIENCE_S": 60.0}


class Browser:
    """Looks at the pages of a site as somebody, or as nobody."""

    def __init__(self, app, token=None):
        self.app = app
        self.client = app.test_client()
        self.session = token
        if token is not None:
            self.client.set_cookie(COOKIE, token)

    def page(self, path, status=200):
        answer = self.client.get(path)
        assert answer.status_code == status, answer.text
        return answer.text

    def token(self):
        """Return the token that every form of a page carries."""
        page = self.client.get("/", follow_redirects=True).text
        (found,) = set(re.findall(r'name="csrf_token" value="([^"]+)"', page))
        return found

    def send(self, path, **form):
        """Send a form as a browser does, with the token of the page that it was on."""
        return self.client.post(path, data={"csrf_token": self.token(), **form})

    def opened(self, text="cold on the road, warm at lights", **form):
        """Open a job from Today and return its id."""
        answer = self.send("/jobs", text=text, action="open", **form)
        assert answer.status_code == 302, answer.text
        return answer.location.rsplit("/", 1)[1]


class Site(Shop, Browser):
    """A shop with a few cases, and the browser of its owner."""

    def __init__(self, home):
        Shop.__init__(self, default_url(home))
        self.home = home
        self.put(*(closed_case(key, *seed) for key, seed in SEEDS.items()))
        app = create_app({"HOME": home, "STORE_URL": self.url, "HASHER": QUICK, **PATIENT})
        Browser.__init__(self, app, session_for(self.store, Role.OWNER))

    def put(self, *jobs):
        self.write(lambda unit: unit.jobs.add_many(jobs, verb="import"))

    def with_photo(self, job):
        """Add a photo to a job and return its hash."""
        self.send(f"/job/{job}/photo", photo=(BytesIO(a_picture()), "p.jpg"))
        with self.store.read() as unit:
            return unit.photos.of(job)[-1].content_hash

    def with_link(self):
        """Make a link for the owner and return its token."""
        at = datetime.now(UTC)
        return self.write(lambda unit: link_for(unit, unit.people.named("shop").id, at))

    def with_note(self, **fields):
        """Write a note and return its number."""
        typed = {"title": "Fan first", "body": "Hear the *fan*.", "system": "hvac"} | fields
        return self.write(write_note, typed, words=WORDS)

    def as_role(self, role, *, shared=False):
        """Return the browser of somebody of that role."""
        return Browser(self.app, session_for(self.store, role, shared=shared))

    def as_nobody(self):
        """Return a browser where nobody is signed in."""
        return Browser(self.app)

    def close(self):
        self.app.extensions["baybook"].store.close()
        self.store.close()


@pytest.fixture
def site(tmp_path):
    made = Site(tmp_path)
    yield made
    made.close()


class Row:
    """A row of a week that was counted, and what a browser sends about it."""

    week = "2026-W46"
    typed: ClassVar = {"what": "Look at the last three", "owner": "Mara", "due": "2199-12-31"}

    def __init__(self, site, kind, cases=()):
        self.site = site
        self.key = f"{kind}:hvac"
        self.query = urlencode({"week": self.week, "row": self.key})
        self.count(self.week, WeekRow(kind=kind, subject=("hvac",), numbers={"n": 4}, cases=cases))

    def count(self, week, *rows):
        """Keep a review of a week that has these rows."""
        body = {"week": week, "jobs": 5, "cases": 5, "rows": [row.as_json() for row in rows]}
        with self.site.store.write("Ines", datetime.now(UTC)) as unit:
            claim = unit.reviews.claim(week, anew=True)
            assert unit.reviews.keep(week, claim, kept_text(body))

    def send(self, browser=None, **changes):
        """Send the form of a decision about the row."""
        about = {"week": self.week, "row": self.key, "seen": ""}
        return (browser or self.site).send("/week/decide", **(about | self.typed | changes))

    def decided(self, **changes):
        """Decide about the row and return the number of the decision."""
        answer = self.send(**changes)
        assert answer.status_code == 302, answer.text
        with self.site.store.read() as unit:
            return unit.decisions.open_about(self.key)[-1].id


def say_plainly(row, words):
    """Say a row that the tests planted."""
    said = f"Comebacks of {words.systems[row.subject[0]].name.lower()}."
    return Said(what=said, numbers=f"{row.numbers['n']} of 30", do="Reopen them")


def planted_or(real):
    """Return what says the rows that the tests planted, and those that were counted as ever."""
    return lambda row, words: (say_plainly if "n" in row.numbers else real)(row, words)


@pytest.fixture
def row(site, monkeypatch):
    """Return a row of a week, said in words of the tests."""
    for kind in ("came_back", "held"):
        monkeypatch.setitem(SAY, kind, planted_or(SAY.get(kind)))
    return Row(site, "came_back")
