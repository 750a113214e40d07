from datetime import UTC, date, datetime

import pytest

from kb.case.terms import load_vocabulary
from kb.store.engine import open_store
from kb.store.migrate import bundled
from kb.workflow.invented import make_jobs
from kb.workflow.memory import Memory
from tests.factories import make_store

WORDS = load_vocabulary()
TODAY = date(2026, 5, 4)
NOW = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)


class Shop:
    """A store in a temporary folder with the verbs that tests use most."""

    def __init__(self, url, *, made=False):
        if not made:
            make_store(url)
        self.url = url
        self.store = open_store(url)
        self.words = WORDS
        self.today = TODAY

    def write(self, verb, *args, **known):
        with self.store.write("Ines", NOW) as unit:
            return verb(unit, *args, **known)

    def get(self, job_id):
        with self.store.read() as unit:
            return unit.jobs.get(job_id)

    def history(self, job_id):
        with self.store.read() as unit:
            return unit.history.of(job_id)

    def memory(self):
        return Memory(self.store, WORDS)


@pytest.fixture
def shop(store_url):
    made = Shop(store_url, made=True)
    yield made
    made.store.close()


@pytest.fixture(scope="session")
def two_years():
    """Return the invented jobs of two years that end with the week of 2026-11-16."""
    made = make_jobs(date(2026, 11, 25), WORDS, folder=bundled("seed_cases"))
    return tuple(made)
