from datetime import timedelta

import pytest

from kb.errors import StoreError
from kb.store.unread import LONGEST
from tests.factories import a_job
from tests.kb.store.other_process import NOW


def note(store, job_id, *words, at=NOW):
    with store.write("Ines", at) as unit:
        unit.unread.add(job_id, words)


def counts(store):
    with store.read() as unit:
        return unit.unread.counts()


@pytest.fixture
def two_jobs(store):
    with store.write("Ines", NOW) as unit:
        unit.jobs.add_many([a_job("J1"), a_job("J2")], verb="open")
    return store


def test_a_word_is_counted_once_a_job_with_when_it_last_came(two_jobs):
    later = NOW + timedelta(days=1)
    note(two_jobs, "J1", "Blorf", "blorf", "quorx  zum")
    note(two_jobs, "J1", "BLORF", at=later)
    note(two_jobs, "J2", "blorf", at=later)
    assert counts(two_jobs) == (("blorf", 2, later), ("quorx zum", 1, NOW))


def test_of_words_in_as_many_jobs_the_latest_comes_first(two_jobs):
    note(two_jobs, "J1", "old", "older")
    note(two_jobs, "J2", "new", at=NOW + timedelta(hours=1))
    assert [row[0] for row in counts(two_jobs)] == ["new", "old", "older"]


def test_a_long_run_is_kept_word_by_word_and_an_endless_word_not_at_all(two_jobs):
    run = "one " * LONGEST
    note(two_jobs, "J1", run, "x" * (LONGEST + 1), "  ", "ü" * LONGEST)
    with two_jobs.read() as unit:
        assert unit.unread.of("J1") == ("one", "ü" * LONGEST)
        assert unit.unread.of("J2") == ()


def test_unread_words_are_written_in_a_unit_that_writes(two_jobs):
    with two_jobs.read() as unit, pytest.raises(StoreError, match=r"Store\.write"):
        unit.unread.add("J1", ["blorf"])
    assert counts(two_jobs) == ()


def test_words_of_some_days_come_with_job_and_time(two_jobs):
    later, end = NOW + timedelta(days=1), NOW + timedelta(days=2)
    note(two_jobs, "J1", "blorf")
    note(two_jobs, "J2", "blorf", "quorx", at=later)
    note(two_jobs, "J1", "zum", at=end)
    with two_jobs.read() as unit:
        assert unit.unread.between(NOW, end) == (
            ("blorf", "J1", NOW),
            ("blorf", "J2", later),
            ("quorx", "J2", later),
        )
        assert unit.unread.between(later, later) == ()
