import logging
from dataclasses import replace

import pytest

from kb.case.model import Finding
from kb.diagnosis.information import bits_told
from kb.store.answers import ShownAnswer
from kb.workflow import answers_at_close
from kb.workflow.answers_at_close import MOST_FINDINGS, shown_at_close
from kb.workflow.jobs import Intake, add_text, open_job
from kb.workflow.suggest import Wanted, as_written_up
from tests.kb.workflow.test_close import closed, opened
from tests.memory_parts import in_two_parts

FAN = "fan air on condenser: hi 318 to 214, vent 68 to 47 x2"


@pytest.fixture
def job(shop):
    closed(shop, opened(shop))
    started = shop.write(
        open_job,
        Intake(text="cold on the road, warm at lights; hi 318 low 58 vent 68F"),
        words=shop.words,
        today=shop.today,
    ).job
    return shop.write(add_text, started.id, FAN, words=shop.words).job


@pytest.fixture
def fitted(shop, job):
    return shop.memory().fitted()


def kept(fitted, job) -> ShownAnswer:
    shown = shown_at_close(fitted, job)
    assert shown is not None
    return shown


def test_what_stood_on_the_page_is_kept(fitted, job):
    shown = kept(fitted, job)
    found = fitted.suggest(job, Wanted())
    assert [cause for cause, _ in shown.causes] == [row.cause for row in found.shown]
    assert shown.causes[0][0] == "condenser_fan_dead"
    assert shown.causes[0][1] == pytest.approx(found.shown[0].chance, abs=1e-6)
    assert None in dict(shown.causes)
    assert shown.matches == tuple(row.case for row in found.matches)
    assert shown.nothing_like_it is found.nothing_like_it


def test_the_first_check_is_that_of_the_look_that_was_due_when_it_was_written_up(fitted, job):
    due = fitted.suggest(as_written_up(job), Wanted()).look.look
    shown = kept(fitted, job)
    assert (shown.first_check, shown.first_subject) == (due.check, due.subject)
    assert shown.first_check


def test_where_no_look_was_due_it_is_the_best_check(shop, fitted):
    vague = shop.write(
        open_job, Intake(text="zorble at the frunk"), words=shop.words, today=shop.today
    ).job
    first = fitted.suggest(vague, Wanted())
    assert first.look is None
    shown = kept(fitted, vague)
    assert shown.first_check == (first.checks[0].check if first.settles else None)
    assert first.settles


def test_a_finding_brings_the_entropy_that_the_chances_lose_with_it(fitted, job):
    (gain,) = kept(fitted, job).gains
    before = fitted.chances(as_written_up(job))
    alone = replace(as_written_up(job), findings=job.findings)
    groups = [group for group in job.reading_sets if group.finding is not None]
    after = fitted.chances(replace(alone, reading_sets=(*alone.reading_sets, *groups)))
    assert gain.bits == bits_told([row.chance for row in before], [row.chance for row in after])
    assert gain.bits > 0
    assert (gain.check, gain.outcome) == ("condenser_air_boost", job.findings[0].outcome)
    assert gain.lead_changed is (before[0].cause != after[0].cause)


def test_what_the_findings_brought_adds_up_to_the_way_from_first_to_last(fitted, job):
    fan = Finding(check="fan_command", subject="condenser fan", outcome="does_nothing", minutes=5.0)
    both = replace(job, findings=(fan, *job.findings))
    told = [gain.bits for gain in kept(fitted, both).gains]
    assert len(told) == 2
    first, last = fitted.chances(as_written_up(both)), fitted.chances(both)
    whole = bits_told([row.chance for row in first], [row.chance for row in last])
    assert sum(told) == pytest.approx(whole)


def test_a_check_that_was_not_done_told_nothing_and_a_long_list_is_cut(fitted, job):
    missed = Finding(check="fan_command", outcome="not_done")
    many = replace(job, findings=(missed, *(job.findings * (MOST_FINDINGS + 3))))
    gains = kept(fitted, many).gains
    assert [gain.ordinal for gain in gains] == list(range(1, MOST_FINDINGS))


def test_nothing_is_said_where_nothing_is_fitted_or_the_job_would_find_itself(shop, job):
    assert shown_at_close(None, job) is None
    done = closed(shop, job)
    assert shown_at_close(shop.memory().fitted(), done) is None
    reopened = replace(done, state=job.state, closing=None)
    assert shown_at_close(shop.memory().fitted(), reopened) is None


def test_an_empty_memory_says_nothing(shop):
    job = opened(shop)
    assert shown_at_close(shop.memory().fitted(), job) is None


def test_a_failure_to_answer_is_noted_and_stops_nothing(fitted, job, monkeypatch, caplog):
    monkeypatch.setattr(answers_at_close, "bits_told", lambda before, after: 1 / 0)
    with caplog.at_level(logging.ERROR):
        assert shown_at_close(fitted, job) is None
    assert job.id in caplog.text


def test_what_was_said_goes_into_the_store_and_back(shop, fitted, job):
    shown = kept(fitted, job)
    done = closed(shop, job)
    shop.write(lambda unit: unit.answers.keep(done.id, shown))
    with shop.store.read() as unit:
        assert unit.answers.closed(shop.today, shop.today)[done.id] == shown


def test_what_a_part_of_the_memory_is_missing_from_is_not_kept(shop, job):
    memory = shop.memory()
    parts = in_two_parts(memory)
    assert shown_at_close(memory.as_fitted(), job) is not None
    parts.away = True
    assert shown_at_close(memory.as_fitted(), job) is None
