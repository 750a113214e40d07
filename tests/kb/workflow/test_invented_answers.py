from datetime import date

import pytest

from kb.case.iso_week import IsoWeek
from kb.case.model import JobState, Phase
from kb.store.migrate import bundled
from kb.workflow.invented import add_jobs, make_jobs
from kb.workflow.invented_answers import as_before_close, ask_about_newest
from tests.factories import a_full_case
from tests.kb.workflow.conftest import WORDS
from tests.web.conftest import SEEDS, closed_case

TODAY = date(2026, 11, 25)
LAST = IsoWeek.last_whole(TODAY)


@pytest.fixture
def asked(shop):
    """Return a shop with three cases of its own and three weeks of invented jobs."""
    cases = [closed_case(job_id, *known) for job_id, known in SEEDS.items()]
    shop.write(lambda unit: unit.jobs.add_many(cases, verb="import"))
    shop.write(add_jobs, make_jobs(TODAY, WORDS, folder=bundled("seed_cases"), years=0.06))
    return shop


def test_the_newest_jobs_with_a_cause_are_asked_about_once_by_the_real_cases_alone(asked):
    memory = asked.memory()
    assert ask_about_newest(memory, LAST, most=5) == 5
    with asked.store.read() as unit:
        kept = unit.answers.closed(LAST.monday, LAST.sunday)
        jobs = unit.jobs.some(tuple(kept))
        others = unit.weeks.closed(LAST.monday, LAST.sunday)
        assert unit.answers.kept_since() == min(job.closing.closed for job in jobs)
    assert len(kept) == 5
    assert all(job.cause for job in jobs)
    oldest = min(job.closing.closed for job in jobs)
    assert not [
        job.id for job in others if job.cause and job.closing.closed > oldest and job.id not in kept
    ]
    assert {case for answer in kept.values() for case in answer.matches} <= set(SEEDS)
    assert any(answer.gains for answer in kept.values())
    assert ask_about_newest(memory, LAST) == 0


def test_without_invented_jobs_nothing_is_asked(shop):
    assert ask_about_newest(shop.memory(), LAST) == 0


def test_a_job_before_its_close_knows_neither_its_cause_nor_what_was_read_after():
    job = as_before_close(a_full_case("V1"))
    assert (job.state, job.closing, job.cause) == (JobState.OPEN, None, None)
    assert Phase.AFTER not in {row.phase for row in job.reading_sets}
