from datetime import timedelta

import pytest

from kb.case.casefile import read_case
from kb.errors import StoreError
from kb.store.writes import FORMS_KEPT, KEPT_STATES, ToldBefore
from tests.factories import a_job
from tests.kb.store.other_process import NOW


def test_a_form_is_known_once_it_was_taken(store):
    with store.write("Ines", NOW) as unit:
        assert not unit.sent.taken("a" * 32)
        unit.sent.add("a" * 32, "J1")
        unit.sent.add("b" * 32, None)
    with store.read() as unit:
        assert unit.sent.taken("a" * 32)
        assert (unit.sent.sender_of("a" * 32), unit.sent.sender_of("c" * 32)) == ("Ines", None)
        assert (unit.sent.job_of("a" * 32), unit.sent.job_of("b" * 32)) == ("J1", None)
        with pytest.raises(StoreError, match=r"Store\.write"):
            unit.sent.add("c" * 32, None)


def test_what_a_program_was_told_is_kept_with_what_it_said(store):
    told = ToldBefore(fingerprint="f" * 64, answer='{"job": "J1"}')
    with store.write("Ines", NOW) as unit:
        unit.sent.add("a" * 32, "J1", told)
        unit.sent.add("b" * 32, "J1")
    with store.read() as unit:
        assert unit.sent.told("a" * 32) == told
        assert unit.sent.told("b" * 32) is None
        assert unit.sent.told("c" * 32) is None


def test_forms_of_a_month_ago_are_forgotten_with_the_next_one(store):
    moments = (NOW, NOW + timedelta(seconds=1), NOW + FORMS_KEPT + timedelta(seconds=1))
    for form, at in zip("abc", moments, strict=True):
        with store.write("Ines", at) as unit:
            unit.sent.add(form * 32, None)
    with store.read() as unit:
        assert [unit.sent.taken(form * 32) for form in "abc"] == [False, True, True]


def test_a_form_of_a_write_that_failed_was_not_taken(store):
    def fail():
        with store.write("Ines", NOW) as unit:
            unit.sent.add("a" * 32, "J1")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    with store.read() as unit:
        assert not unit.sent.taken("a" * 32)


def test_every_save_keeps_the_state_before_it_and_the_oldest_goes(store):
    writes = KEPT_STATES + 3
    with store.write("Ines", NOW) as unit:
        unit.jobs.add(a_job("J1", waits_for="0"), verb="open")
        for number in range(1, writes + 1):
            unit.jobs.save(a_job("J1", waits_for=str(number)), verb="wait")
    with store.read() as unit:
        kept = [unit.earlier.at("J1", revision) for revision in range(1, writes + 2)]
    waits = [read_case(text).waits_for for text in kept if text is not None]
    assert waits == [str(number) for number in range(writes - KEPT_STATES, writes)]
    assert kept[-1] is None
