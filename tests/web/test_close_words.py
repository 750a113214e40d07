from dataclasses import replace
from datetime import date

import pytest

from kb.case.model import Finding, FixKind, Proof, ReadingSet
from kb.case.terms import load_vocabulary
from kb.workflow.close import CloseAnswers
from tests.factories import a_full_case, a_job, a_reading
from web.close_words import finding_words, preview
from web.wording import state_words

WORDS = load_vocabulary()
TODAY = date(2026, 5, 4)


def stands(**known):
    return preview(a_job(), CloseAnswers(**known), words=WORDS, today=TODAY).stands


def test_a_finding_is_one_line_with_what_it_changed_and_its_readings():
    words = finding_words(a_full_case(), 0, WORDS)
    assert words.startswith("Add air over the condenser (shop fan or water mist) (condenser): ")
    for part in (", 2 times", "61 to 48 °F", "Vent (panel outlet) air temperature 61 °F"):
        assert part in words


def test_a_finding_without_more_is_its_check_and_outcome():
    job = a_job(
        findings=(Finding(check="fan_command_test", outcome="no_run"),),
        reading_sets=(ReadingSet(readings=(a_reading(),)),),
    )
    assert finding_words(job, 0, WORDS) == "Command the cooling fan through its speeds: no run"


@pytest.mark.parametrize(
    ("known", "words"),
    [
        ({}, "the cause and how it was proven are missing"),
        ({"cause": "overcharge"}, "how it was proven is missing"),
        ({"cause": "overcharge", "proofs": [Proof(method="seen")]}, "Will stand as: proven"),
        ({"cause": "overcharge", "proofs": [Proof(method="came_and_went")]}, "as: likely"),
        ({"end": "normal"}, "kept as a job without a cause"),
        ({"end": "not_fixed", "cause": "overcharge"}, "how it was proven is missing"),
    ],
)
def test_the_page_says_how_it_will_stand(known, words):
    assert words in stands(**known)


def test_states_of_a_set_are_said_in_words():
    assert state_words("at_idle", WORDS) == WORDS.conditions["at_idle"].say
    assert state_words("fan_on 80%", WORDS) == "fan on 80%"


def test_what_does_not_fit_together_and_what_is_missing_is_asked():
    answers = CloseAnswers(
        end="declined",
        cause="hose_collapsed",
        proofs=[Proof(method="seen", text="swells shut")],
        fix=FixKind.REPLACED,
    )
    asks = preview(a_job(), answers, words=WORDS, today=TODAY).asks
    assert len(asks) == 3
    for part in ("neither a value nor a photo", "the fix says replaced", "who was told"):
        assert any(part in line for line in asks)
    plain = replace(answers, fix=None, told="the owner", proofs=[Proof(method="inferred")])
    assert preview(a_job(), plain, words=WORDS, today=TODAY).asks == ()
