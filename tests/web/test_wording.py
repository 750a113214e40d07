from dataclasses import replace

import pytest

from kb.case.model import Change, Polarity, Reading, Response, Symptom
from kb.case.terms import load_vocabulary
from kb.case.units import UNITS
from kb.diagnosis.guess import guess_or_check
from tests.factories import a_reading
from web.wording import (
    amount,
    choice_words,
    guess_words,
    named,
    percent,
    quantity_words,
    reading_words,
    response_words,
    symptom_words,
    with_signs,
)

WORDS = load_vocabulary()


@pytest.mark.parametrize(
    ("chance", "words"),
    [
        (0.0, "under 1%"),
        (0.0099, "under 1%"),
        (0.01, "1%"),
        (0.644, "64%"),
        (0.99, "99%"),
        (0.996, "over 99%"),
        (1.0, "over 99%"),
    ],
)
def test_a_chance_is_never_none_and_never_certain(chance, words):
    assert percent(chance) == words


@pytest.mark.parametrize(
    ("typed", "unit", "words"),
    [
        ("68", "degF", "68 °F"),
        ("-4.5", "degC", "-4.5 °C"),
        ("10", "deg", "10°"),
        ("45", "percent", "45 %"),
        ("0.2", "ohm", "0.2 Ω"),
        ("8", "32nds", "8/32 in"),
        ("3", "count", "3"),
        ("0.98", "1", "0.98"),
        ("OL", "", "OL"),
        ("OL", None, "OL"),
        ("318", "psi", "318 psi"),
    ],
)
def test_a_unit_is_written_as_a_technician_writes_it(typed, unit, words):
    assert amount(typed, unit) == words


def test_no_unit_is_shown_by_its_key_where_that_is_not_the_trades_word():
    shown = {key: amount("1", key) for key in UNITS}
    assert not [key for key, text in shown.items() if "deg" in text or "ohm" in text or "_" in text]


def test_units_inside_a_sentence_get_their_signs_and_words_stay():
    assert with_signs("vent 68 degF, there 46.5 degC") == "vent 68 °F, there 46.5 °C"
    assert with_signs("10 percent of 3 ohm") == "10 % of 3 Ω"
    assert with_signs("to some degree, degF alone") == "to some degree, °F alone"


@pytest.mark.parametrize(
    "key",
    ["delta_degF", "delta_degC", "degF", "degC", "deg", "percent", "ohm", "kohm", "Mohm", "mohm",
     "32nds", "count"],
)  # fmt: skip
def test_every_unit_with_a_sign_gets_it_behind_a_number(key):
    assert with_signs(f"it is 5 {key} now") == f"it is {amount('5', key)} now"


def test_a_key_that_the_vocabulary_lacks_is_shown_in_plain_words():
    assert named(WORDS.proof_methods, "seen") == "Seen directly"
    assert named(WORDS.proof_methods, "shop_own_way") == "shop own way"


def test_a_symptom_says_when_it_shows_and_when_not():
    row = Symptom(
        text="x", concept="no_crank", position="LF", conditions=("at_idle",),
        not_conditions=("engine_cold", "no_such_condition"),
    )  # fmt: skip
    idle, cold = WORDS.conditions["at_idle"].say, WORDS.conditions["engine_cold"].say
    assert (
        symptom_words(row, WORDS) == f"{WORDS.symptoms['no_crank'].say} [LF] ({idle}, not {cold})"
    )


@pytest.mark.parametrize(
    ("polarity", "words"),
    [
        (Polarity.YES, "zorbles"),
        (Polarity.NO, "not: zorbles"),
        (Polarity.WEAK, "a little: zorbles"),
        (Polarity.PAST, "earlier: zorbles"),
    ],
)
def test_whether_a_symptom_was_there_is_said(polarity, words):
    assert symptom_words(Symptom(text="zorbles", polarity=polarity), WORDS) == words


def test_a_reading_is_shown_as_typed_with_its_place():
    name = WORDS.quantities["vent_temp"].name
    assert (
        reading_words(a_reading(typed="61", position="driver"), WORDS) == f"{name} 61 °F [driver]"
    )


def test_a_quantity_that_the_vocabulary_lacks_is_shown_in_plain_words():
    assert (
        quantity_words(Reading(quantity="own_gauge", typed="3", unit="psi"), WORDS) == "own gauge"
    )


@pytest.mark.parametrize(
    ("row", "words"),
    [
        (
            Response(quantity="own_gauge", before_typed="61", after_typed="48", unit="degF"),
            "own gauge 61 to 48 °F",
        ),
        (Response(quantity="own_gauge", before_typed="61", unit="psi"), "own gauge 61 to ? psi"),
        (Response(change=Change.BETTER, action="fog it"), "better"),
        (Response(action="fog it"), "fog it"),
        (Response(), ""),
    ],
)
def test_what_an_action_changed_is_said(row, words):
    assert response_words(row, WORDS) == words


def test_what_may_be_meant_is_asked_in_the_trades_spelling():
    assert choice_words(["degF", "degC"]) == "°F or °C"
    assert choice_words(["pressure_falls", "count"]) == "pressure falls or count"
    assert choice_words(["psi"]) == "psi"


def test_the_guess_or_check_line_says_when_guessing_pays():
    line = guess_or_check("fan", 0.7, repair_cents=31000, check="look", check_cents=5000)
    said = guess_words(line)
    assert "at 310 for the repair and 50 for the first check" in said
    assert "only above 86%" in said
    assert "worth up to 133" in said
    sure = guess_words(replace(line, chance=0.9))
    assert "Prove it with the repair all the same" in sure


def test_a_list_of_units_is_written_with_their_signs():
    said = "expected Vent in degF, degC, got psi; 5 delta_degF and 68 degF"
    assert with_signs(said) == "expected Vent in °F, °C, got psi; 5 °F and 68 °F"
