import pytest

from kb.case.model import FixKind
from web.forms import read_close_form


def test_an_empty_form_is_missing_everything_and_wrong_in_nothing():
    answers, errors = read_close_form({})
    assert not errors
    assert answers.end == "fixed"
    assert (answers.cause, answers.fix, answers.lesson) == (None, None, "")
    assert not [*answers.proofs, *answers.options, *answers.after_checks]


def test_a_full_form_becomes_the_four_answers():
    answers, errors = read_close_form(
        {
            "end": "workaround",
            "cause": " overcharge ",
            "method": "seen",
            "proof_text": " 130 g over ",
            "fix": "adjusted",
            "fix_text": "weighed in",
            "option_2": "recover and weigh",
            "price_2": "180",
            "remains_2": "nothing",
            "chosen": "2",
            "after_kind": "same_readings",
            "after_text": "hi 190",
            "lesson": " Ask about cans. ",
        }
    )
    assert not errors
    assert (answers.end, answers.cause, answers.fix) == (
        "workaround",
        "overcharge",
        FixKind.ADJUSTED,
    )
    assert [(row.method, row.text) for row in answers.proofs] == [("seen", "130 g over")]
    (option,) = answers.options
    assert (option.what, option.price_cents, option.chosen) == ("recover and weigh", 18000, True)
    assert [(row.kind, row.text) for row in answers.after_checks] == [("same_readings", "hi 190")]
    assert answers.lesson == "Ask about cans."


@pytest.mark.parametrize(
    ("typed", "cents"),
    [
        ("412", 41200),
        ("412.5", 41250),
        ("$1,412.05", 141205),
        ("412,50", 41250),
        ("1 412.00", 141200),
        ("€ 0.99", 99),
        ("", None),
    ],
)
def test_a_price_is_read_as_it_is_written(typed, cents):
    answers, errors = read_close_form({"option_1": "fan", "price_1": typed})
    assert not errors
    assert answers.options[0].price_cents == cents


@pytest.mark.parametrize("typed", ["lots", "1.234", "-5", "1.2.3", "9" * 10, "²", "1.²"])
def test_what_is_no_price_is_an_error_at_its_field(typed):
    _, errors = read_close_form({"option_3": "fan", "price_3": typed})
    assert list(errors.by_field) == ["price_3"]
    assert typed[:20] in errors.by_field["price_3"]


def test_a_price_without_a_choice_is_no_choice():
    answers, errors = read_close_form({"price_1": "lots"})
    assert not errors
    assert list(answers.options) == []


def test_words_without_a_method_ask_for_the_method():
    _, errors = read_close_form({"proof_text": "saw it"})
    assert list(errors.by_field) == ["method"]


def test_a_fix_of_no_known_kind_names_the_known_ones():
    answers, errors = read_close_form({"fix": "prayed"})
    assert answers.fix is None
    assert "replaced" in errors.by_field["fix"]
