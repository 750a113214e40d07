import pytest

from kb.case.model import Finding, FixKind, Reading
from kb.case.retake import Retaken
from kb.case.terms import load_vocabulary
from tests.factories import a_closing, a_job, a_reading
from web.case_words import (
    ENDS,
    change_words,
    end_words,
    fix_words,
    holds_by,
    known_by,
    spoke_words,
)

WORDS = load_vocabulary()


@pytest.mark.parametrize(
    ("before", "after", "change", "words"),
    [
        ("318", "209", -109.0, "fell 109 psi"),
        ("58", "2.4", -23.19, "fell 23.2 psi"),
        ("12,6", "14.25", 1.65, "rose 1.65 psi"),
        ("58", "58", 0.0, "no change"),
        ("58", "58", 0.2, "no change"),
        ("58", "OL", None, "–"),
    ],
)
def test_a_change_is_written_as_finely_as_it_was_read(before, after, change, words):
    pair = Retaken(
        before=Reading(quantity="low_side_pressure", typed=before, unit="psi"),
        after=Reading(quantity="low_side_pressure", typed=after, unit="psi"),
        change=change,
    )
    assert change_words(pair) == words


def test_what_was_read_once_says_so():
    assert change_words(Retaken(before=a_reading())) == "not read again"
    assert change_words(Retaken(after=a_reading())) == "read after the repair only"


def test_a_check_spoke_for_and_against_causes_by_the_trades_list():
    row = Finding(check="fan_command_test", outcome="no_run")
    words = spoke_words(row, a_closing("condenser_fan_dead"), WORDS)
    assert words.startswith("for: Condenser fan or one speed dead; against: ")
    assert "Overcharged after a top-up" in words
    other = Finding(check="fan_command_test", outcome="all_speeds")
    assert "against: Condenser fan or one speed dead" in spoke_words(
        other, a_closing("condenser_fan_dead"), WORDS
    )


@pytest.mark.parametrize(
    ("row", "closing"),
    [
        (Finding(check="fan_command_test", outcome="unclear"), a_closing("condenser_fan_dead")),
        (Finding(check="own_check", outcome="x"), a_closing("condenser_fan_dead")),
        (Finding(check="fan_command_test", outcome="no_run"), a_closing(None)),
        (Finding(check="fan_command_test", outcome="no_run"), a_closing("own_cause")),
        (Finding(check="fan_command_test", outcome="no_run"), None),
    ],
)
def test_a_check_that_is_on_no_list_speaks_for_nothing(row, closing):
    assert spoke_words(row, closing, WORDS) == ""


def test_a_fix_is_one_line():
    assert fix_words(a_closing()) == "replaced: fan assembly"
    assert fix_words(a_closing(fix=FixKind.WORKAROUND, fix_text="")) == "work-around"
    assert fix_words(a_closing(fix=None, fix_text="")) == ""


def test_a_customer_is_told_every_end_method_and_after_check_in_plain_words():
    assert set(ENDS) == set(WORDS.job_ends)
    assert end_words(a_job()) == ""
    for rows, told in ((WORDS.proof_methods, known_by), (WORDS.after_checks, holds_by)):
        for key, row in rows.items():
            assert told(key, WORDS) != row.name
        assert told("own_key", WORDS) == "own key"
