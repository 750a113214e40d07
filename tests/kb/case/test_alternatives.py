import pytest

from kb.case.alternatives import (
    MOST,
    other_concepts,
    other_conditions,
    other_quantities,
    outcomes_of,
    outside_band,
    places_of,
    units_of,
)
from kb.case.casefile import make_reading
from kb.case.model import Finding, Symptom
from kb.case.terms import load_vocabulary
from kb.case.units import to_canonical
from tests.factories import a_reading

WORDS = load_vocabulary()
HIGH = a_reading("high_side_pressure", "318", "psi")


@pytest.mark.parametrize("row", [HIGH, a_reading(), a_reading("battery_voltage_rest", "12.6", "V")])
def test_every_other_quantity_takes_the_unit_and_the_value(row):
    found = other_quantities(row, WORDS)
    assert 0 < len(found) <= MOST
    assert row.quantity not in found
    for key in found:
        quantity = WORDS.quantities[key]
        assert make_reading(WORDS, key, row.typed, unit=row.unit).typed == row.typed
        low, high = quantity.hard
        assert low <= to_canonical(float(row.typed), row.unit, quantity) <= high


def test_a_quantity_whose_usual_band_holds_the_value_comes_before_one_far_from_it():
    far = [
        max(outside_band(12.6, "V", WORDS.quantities[key]) or 0.0, 0.25)
        for key in other_quantities(a_reading("battery_voltage_rest", "12.6", "V"), WORDS)
    ]
    assert far == sorted(far)


def test_a_value_of_a_meter_word_offers_what_takes_the_unit():
    row = make_reading(WORDS, "resistance", "OL", unit="ohm")
    assert other_quantities(row, WORDS)


def test_a_value_beyond_the_hard_limits_is_nowhere_in_a_band():
    quantity = WORDS.quantities["vent_temp"]
    assert outside_band(500, "degF", quantity) is None
    assert quantity.typical is not None
    low, high = quantity.typical
    assert outside_band((low + high) / 2, quantity.unit, quantity) == 0


def test_units_are_those_that_the_quantity_accepts():
    assert units_of(HIGH, WORDS) == WORDS.quantities["high_side_pressure"].accepted


def test_places_are_those_of_the_quantity_one_by_one():
    assert places_of(a_reading("compression", "170", "psi"), WORDS)[0] == "cylinder 1"
    assert "000 rpm" not in {p for key in WORDS.quantities for p in places_of(
        make_reading(WORDS, key, "OL", unit=WORDS.quantities[key].unit), WORDS)}  # fmt: skip


def test_symptoms_that_share_words_come_first():
    found = other_concepts(Symptom(text="cranks slow when hot", concept="no_crank"), WORDS)
    assert len(found) == MOST
    assert "no_crank" not in found
    assert "crank" in WORDS.symptoms[found[0]].say
    assert other_concepts(Symptom(text="xqz"), WORDS) == ()


def test_the_opposite_of_a_condition_comes_first_then_its_family():
    found = other_conditions("at_idle", WORDS)
    assert found[0] == "at_cruise"
    assert {"under_load", "accelerating", "decelerating"} < set(found)
    assert "at_idle" not in found
    assert other_conditions("no_such", WORDS) == ()


def test_outcomes_are_those_of_the_check_and_the_open_ones():
    row = Finding(check="condenser_air_boost", outcome="unclear")
    assert set(WORDS.checks["condenser_air_boost"].outcomes) < set(outcomes_of(row, WORDS))
    assert outcomes_of(Finding(check="own", outcome="x"), WORDS) == ("unclear", "not_done")
