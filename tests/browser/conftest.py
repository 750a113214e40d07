"""A demonstration shop that is served on this machine, and a headless Chromium that looks at it."""

import os
import shutil
from datetime import UTC, date, datetime
from importlib.util import find_spec
from pathlib import Path
from urllib.parse import urlencode, urlsplit

import pytest

from kb.case.terms import load_vocabulary
from kb.store.decisions import About, Plan
from kb.store.engine import default_url, open_store
from kb.workflow.notes import set_active, write_note
from kb.workflow.week.kept import kept_text
from kb.workflow.week.pace import quartiles
from kb.workflow.week.rows import WeekRow
from tests.served_here import end, serving
from tests.web.conftest import PATIENT, session_for
from web import create_app
from web.api.place import is_api
from web.auth import COOKIE
from web.people_commands import demo_link
from web.rights import Role
from web.shop_commands import demo_job, make_demo

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
REQUIRED = bool(os.environ.get("BAYBOOK_REQUIRE_BROWSER"))
# Without the extra nothing here can even be read; where CI asks for these tests that is an error.
PLAYWRIGHT = find_spec("playwright") is not None
if REQUIRED and not PLAYWRIGHT:
    raise ImportError("expected the extra 'browser', got none: pip install -e '.[test,browser]'")
collect_ignore_glob = [] if PLAYWRIGHT else ["test_*.py", "take_pictures.py"]
PHONE, TABLET, DESKTOP = (390, 844), (820, 1180), (1440, 900)


def pytest_collection_modifyitems(items):
    """Every test of this folder needs a browser."""
    here = Path(__file__).parent
    for item in items:
        if here in Path(item.path).parents:
            item.add_marker("browser")


@pytest.fixture(scope="session")
def playwright():
    """Return Playwright; without Chromium the tests are skipped, where CI asks they fail."""
    if CHROMIUM is None:
        reason = "needs Chromium: apt-get install chromium"
        pytest.fail(reason) if REQUIRED else pytest.skip(reason)
    from playwright.sync_api import expect, sync_playwright  # noqa: PLC0415 - an extra

    # A busy small machine is slow at times; a test that waits says what for.
    expect.set_options(timeout=20_000)
    with sync_playwright() as running:
        yield running


@pytest.fixture(scope="session")
def chromium(playwright):
    """Return a running headless Chromium."""
    browser = playwright.chromium.launch(
        executable_path=CHROMIUM, args=["--no-sandbox", "--disable-gpu"]
    )
    yield browser
    browser.close()


@pytest.fixture(scope="session")
def demo_home(tmp_path_factory):
    """Return the folder of a demonstration shop; copied for each shop that is served."""
    home = tmp_path_factory.mktemp("demo")
    make_demo(home, load_vocabulary(), years=0).close()
    return home


class Served:
    """A shop served on a free port of this machine."""

    def __init__(self, home: Path) -> None:
        from waitress import create_server  # noqa: PLC0415 - start-up time

        self.home = home
        self.app = create_app({"HOME": home, "STORE_URL": default_url(home), **PATIENT})
        self.server = create_server(self.app, host="127.0.0.1", port=0, threads=4)
        self.url = f"http://127.0.0.1:{self.server.effective_port}"
        self.thread = serving(self.server)

    def close(self) -> None:
        end(self.server, self.thread)
        self.app.extensions["baybook"].store.close()

    def jobs(self):
        """Return the open jobs."""
        with open_store(default_url(self.home)) as store, store.read() as unit:
            return unit.jobs.open_jobs()

    def last_write(self):
        """Return the number of the newest line of the history."""
        with open_store(default_url(self.home)) as store, store.read() as unit:
            return unit.history.last_seq()

    def job(self, job_id):
        """Return one job."""
        with open_store(default_url(self.home)) as store, store.read() as unit:
            return unit.jobs.get(job_id)


@pytest.fixture
def shop(demo_home, tmp_path):
    """Return a served demonstration shop of this test's own."""
    home = tmp_path / "shop"
    shutil.copytree(demo_home, home)
    served = Served(home)
    yield served
    served.close()


def sign_in(page, shop, role="owner"):
    """Sign somebody of that role in."""
    let_in(page.context, shop, role)
    page.goto(shop.url + "/")


def let_in(context, shop, role="owner"):
    """Give a browser's window the session of somebody of that role."""
    with open_store(default_url(shop.home)) as store:
        token = session_for(store, Role(role))
    context.add_cookies([{"name": COOKIE, "value": token, "url": shop.url}])


class Visitor:
    """One person's browser window; fails the test on any error of the page's own."""

    def __init__(self, chromium, shop, size=PHONE, *, role="owner", **known):
        self.shop = shop
        self.context = chromium.new_context(
            viewport={"width": size[0], "height": size[1]},
            has_touch=size == PHONE,
            reduced_motion="reduce",
            **known,
        )
        self.context.set_default_timeout(20_000)
        if role:
            let_in(self.context, shop, role)
        self.page = self.context.new_page()
        self.troubles: list[str] = []
        self.page.on("pageerror", lambda error: self.troubles.append(str(error)))
        self.page.on("console", self._note)

    def _note(self, message):
        if "Content Security Policy" in message.text:
            self.troubles.append(message.text)

    def open(self, path="/"):
        return self.page.goto(self.shop.url + path)

    @property
    def path(self):
        return urlsplit(self.page.url).path

    def close(self):
        self.context.close()
        assert self.troubles == []


@pytest.fixture
def visit(chromium, shop):
    """Return a function that opens a browser window for somebody of the shop."""
    opened: list[Visitor] = []

    def make(size=PHONE, **known):
        visitor = Visitor(chromium, shop, size, **known)
        opened.append(visitor)
        return visitor

    yield make
    for visitor in opened:
        visitor.close()


@pytest.fixture
def pages(shop):
    """Return the address of every page, with a job and a case in the shop."""
    return all_pages(shop)


def all_pages(shop):
    """Return an address for every page of the site: a route without one is a mistake."""
    job, case = "J000001", "S001"
    if job not in {row.id for row in shop.jobs()}:
        open_demo_job(shop)
    row = decide_about_a_row(shop)
    known = {
        "/": ["/"],
        "/trust": ["/trust"],
        "/week": ["/week", f"/week?week={ROW_WEEK}"],
        "/week/decide": [f"/week/decide?{row}"],
        "/week/decision/<int:decision_id>": [f"/week/decision/{number}" for number in (1, 2, 3)],
        "/notes": ["/notes"],
        "/note/new": ["/note/new", f"/note/new?{row}"],
        "/note/<int:note_id>": ["/note/1", "/note/2"],
        "/find": [
            "/find",
            "/find?q=cold+on+the+road,+warm+at+lights;+low+58+hi+318",
            "/find?q=zorble",
            "/find?system=hvac&q=",
        ],
        "/job/<job_id>": [f"/job/{job}"],
        "/job/<job_id>/checks": [f"/job/{job}/checks?system=restraints"],
        "/job/<job_id>/close": [f"/job/{job}/close"],
        "/job/<job_id>/customer": [f"/job/{job}/customer"],
        "/job/<job_id>/label": [f"/job/{job}/label"],
        "/case/<case_id>": [f"/case/{case}"],
        "/sign-in": ["/sign-in"],
        "/sign-in/<token>": [f"/sign-in/{new_link(shop)}"],
        "/switch": ["/switch"],
        "/people": ["/people"],
        "/words": [
            "/words",
            *(
                f"/words?show={part}"
                for part in ("causes", "checks", "quantities", "meanings", "families")
            ),
        ],
        "/words/merge": [
            "/words/merge?kind=cause&key=overcharge&into=condenser_fan_dead",
        ],
        "/me": ["/me"],
        "/me/code": ["/me/code"],
        "/case/<case_id>/customer": [f"/case/{case}/customer"],
    }
    rules = [
        str(rule)
        for rule in shop.app.url_map.iter_rules()
        if "GET" in rule.methods and str(rule) not in NO_PAGE and not is_api(rule.endpoint)
    ]
    assert sorted(rules) == sorted(known)
    return [path for paths in known.values() for path in paths]


# Addresses that answer with something else than a page.
NO_PAGE = {
    "/static/<path:filename>",
    "/sent/ping",
    "/sent/<form_id>",
    "/photo/<content_hash>",
    "/answers",
    "/job/<job_id>/answers",
}


def new_link(shop):
    """Make a link for the owner of the demonstration and return its token."""
    with open_store(default_url(shop.home)) as store:
        return demo_link(store)


def open_demo_job(shop):
    """Open the job that the demonstration opens."""
    with open_store(default_url(shop.home)) as store:
        demo_job(store, load_vocabulary())


# A week that no test counts by itself, with one row to decide about.
ROW_WEEK = "2026-W40"
NOTE = """Hear the fan **first**:

- on, with the A/C on
- off, after ten minutes

| clip | force |
| --- | --- |
| new | 20 N |
"""


def decide_about_a_row(shop):
    """Keep a week with a row, decisions about it and notes; return the row as an address."""
    row = WeekRow(kind="pace", numbers=pace_numbers())
    about = About(week=ROW_WEEK, row_key=row.key, said="Half took 2 days.\n9 jobs")
    body = {"week": ROW_WEEK, "jobs": 9, "cases": 9, "rows": [row.as_json()]}
    with (
        open_store(default_url(shop.home)) as store,
        store.write("shop", datetime.now(UTC)) as unit,
    ):
        if not unit.notes.all():
            claim = unit.reviews.claim(ROW_WEEK)
            assert claim
            unit.reviews.keep(ROW_WEEK, claim, kept_text(body))
            decide_thrice(unit, about)
            words, typed = load_vocabulary(), {"body": NOTE, "system": "hvac"}
            write_note(unit, typed | {"title": "Fans of this year"}, words=words)
            down = write_note(unit, typed | {"title": "Fans of last year"}, words=words)
            set_active(unit, down, active=False)
    return urlencode({"week": ROW_WEEK, "row": row.key})


def pace_numbers():
    """Return the numbers of a row about how long jobs took."""
    took = quartiles([0.0, 1.0, 1.0, 2.0, 2.0, 3.0, 4.0, 6.0, 9.0])
    weeks = [{"week": ROW_WEEK, **took}]
    return {"weeks": weeks, "recent": took, "before": quartiles([]), "minutes": quartiles([])}


def decide_thrice(unit, about):
    """Decide about a row: overdue, still to come, done."""
    plans = (
        ("Look at the jobs that took longest", date(2026, 10, 12)),
        ("Order two more fans", date(2199, 12, 31)),
        ("Tell everybody to write minutes down", date(2026, 10, 12)),
    )
    _, _, done = [
        unit.decisions.add(about, Plan(what=what, owner="Mara", due=due)) for what, due in plans
    ]
    unit.decisions.settle(done, state="done", outcome="said on Monday, it is written down now")
