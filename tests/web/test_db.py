from datetime import date

import pytest

from kb.errors import StoreError
from web import db


def test_the_memory_of_a_running_program_holds_the_closed_jobs(site):
    with site.app.app_context():
        assert db.memory().size() == 3
        assert db.words() is db.memory().words
        assert db.store() is db.memory().store
        assert isinstance(db.today(), date)


def test_what_one_request_writes_is_kept_whole_or_not_at_all(site):
    with site.app.app_context():
        with db.writing() as unit:
            first = unit.jobs.next_id()
        with pytest.raises(StoreError, match="one write unit"), db.writing(), db.writing():
            pass
        with db.writing() as unit:
            assert unit.jobs.next_id() != first


def test_a_write_from_a_page_is_the_shops_own(site):
    job = site.opened()
    (line,) = site.history(job)
    assert (line.who, line.verb) == ("shop", "open")


def test_the_altitude_of_the_settings_reaches_the_answers(site):
    assert site.app.extensions["baybook"].altitude_m == 0.0
