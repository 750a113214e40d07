import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import median_abs_deviation

from kb.case.terms import load_vocabulary
from kb.case.units import convert
from kb.diagnosis.odd_values import (
    BACK_WITHIN,
    LEAST_VALUES,
    ODD_FROM,
    TakenReading,
    odd_values,
    usual,
)

QUANTITIES = load_vocabulary().quantities
HIGH = QUANTITIES["high_side_pressure"]
VENT = QUANTITIES["vent_temp"]
BIG, SMALL = "pellarin copse p20p", "osmeray ochre o35v"


def taken(value, case="A", quantity=HIGH, platform=BIG, **kept):
    return TakenReading(case=case, quantity=quantity.key, value=value, platform=platform, **kept)


def crowd(middle, spread, *, quantity=HIGH, size=30, **kept):
    rng = random.Random(1)
    return [
        taken(rng.gauss(middle, spread), case=f"B{at:02d}", quantity=quantity, **kept)
        for at in range(size)
    ]


@pytest.mark.source("scipy.stats", 'median_abs_deviation(scale="normal")')
def test_the_spread_is_the_scaled_median_absolute_deviation():
    values = [row.value for row in crowd(1500, 200)]
    expected = median_abs_deviation(values, scale="normal")
    assert usual(values, HIGH).spread == pytest.approx(expected, rel=1e-4)


def test_the_spread_is_never_below_what_is_still_the_same_reading():
    same = usual([1500.0] * 20, HIGH)
    assert same.spread == HIGH.likeness_tolerance(1500.0) > 0
    just = 1500.0 + 0.9 * ODD_FROM * same.spread
    assert odd_values([*(taken(1500.0) for _ in range(20)), taken(just)], QUANTITIES) == ()


def test_a_value_far_from_its_own_platform_is_odd_though_others_read_so():
    other = crowd(2400, 100, platform=SMALL)
    (odd,) = odd_values([*crowd(1500, 60), *other, taken(2400.0, case="A9")], QUANTITIES)
    assert odd.held is not None
    assert (odd.reading.case, odd.own_platform, odd.held.count) == ("A9", True, 31)
    assert odd.held.middle == pytest.approx(1500, abs=40)
    assert odd.deviations == pytest.approx((2400 - odd.held.middle) / odd.held.spread)
    assert odd.deviations > ODD_FROM
    assert not odd.outside_limits


def test_a_platform_with_few_values_is_held_against_all_vehicles_of_its_system():
    few = [taken(2300.0, case=f"A{at}", system="hvac") for at in range(LEAST_VALUES - 1)]
    many = crowd(1500, 60, platform=SMALL, system="hvac")
    odd = odd_values([*few, *many], QUANTITIES)
    assert {row.reading.case for row in odd} == {row.case for row in few}
    assert {row.own_platform for row in odd} == {False}
    assert {row.held and row.held.count for row in odd} == {len(few) + len(many)}
    assert odd_values([*few, taken(2300.0, case="A7", system="hvac"), *many], QUANTITIES) == ()
    elsewhere = crowd(1500, 60, platform=SMALL, system="cooling")
    assert odd_values([*few, *elsewhere], QUANTITIES) == ()


def test_too_few_values_tell_nothing_but_the_limits_hold():
    assert odd_values([taken(1500.0), taken(2400.0)], QUANTITIES) == ()
    (odd,) = odd_values([taken(1500.0), taken(HIGH.hard[1] * 2, case="A1")], QUANTITIES)
    assert (odd.reading.case, odd.outside_limits) == ("A1", True)
    assert (odd.held, odd.units, odd.deviations) == (None, (), 0.0)


def test_only_readings_of_the_cases_asked_for_are_looked_at_and_all_count():
    readings = [*crowd(1500, 60), taken(2600.0, case="old"), taken(2700.0, case="new")]
    (odd,) = odd_values(readings, QUANTITIES, of={"new"})
    assert (odd.reading.case, odd.held and odd.held.count) == ("new", 32)


def test_an_unknown_quantity_is_left_out():
    readings = [*crowd(1500, 60), TakenReading(case="A", quantity="nobody knows", value=9e9)]
    assert odd_values(readings, QUANTITIES) == ()


@pytest.mark.source("by hand", "1 psi = 6.895 kPa; 1 MPa = 10 bar; F = 9/5 C + 32")
@pytest.mark.parametrize(
    ("quantity", "typed", "recorded", "meant"),
    [
        (HIGH, 210.0, "kPa", "psi"),
        (HIGH, 14.0, "psi", "bar"),
        (QUANTITIES["fuel_rail_pressure"], 60.0, "MPa", "bar"),
        (VENT, 45.0, "degC", "degF"),
    ],
)
def test_the_unit_that_was_meant_is_named(quantity, typed, recorded, meant):
    right = convert(typed, meant, quantity.unit)
    wrong = convert(typed, recorded, quantity.unit)
    others = crowd(right, 0.02 * abs(right), quantity=quantity)
    (odd,) = odd_values([*others, taken(wrong, quantity=quantity, unit=recorded)], QUANTITIES)
    named = odd.units[0]
    assert (named.recorded, named.meant) == (recorded, meant)
    assert named.value == pytest.approx(right)
    (unknown,) = odd_values([*others, taken(wrong, quantity=quantity)], QUANTITIES)
    assert meant in {row.meant for row in unknown.units if row.recorded == recorded}


def test_a_value_that_no_unit_brings_back_names_none():
    (odd,) = odd_values([*crowd(1500, 60), taken(2600.0, unit="kPa")], QUANTITIES)
    assert odd.units == ()


def test_a_thousandth_explains_nothing_where_zero_is_usual():
    drop = QUANTITIES["voltage_drop"]
    readings = [*crowd(0.1, 0.06, quantity=drop), taken(12.2, quantity=drop, unit="V")]
    (odd,) = odd_values(readings, QUANTITIES, of={"A"})
    assert odd.units == ()


def test_those_outside_the_limits_come_first_then_wrong_units_then_the_farthest():
    far = [
        taken(2400.0, case="A1"),
        taken(2900.0, case="A2"),
        taken(-9000.0, case="A3"),
        taken(217.0, case="A4", unit="kPa"),
    ]
    found = odd_values([*far, *crowd(1500, 60)], QUANTITIES)
    assert [row.reading.case for row in found] == ["A3", "A4", "A2", "A1"]


values = st.lists(st.floats(0, 4000), min_size=0, max_size=40)


@given(values, st.randoms(use_true_random=False))
def test_what_is_odd_is_far_or_outside_and_the_order_of_readings_is_nothing(numbers, rng):
    readings = [taken(value, case=f"A{at:02d}") for at, value in enumerate(numbers)]
    found = odd_values(readings, QUANTITIES)
    for odd in found:
        assert odd.outside_limits or odd.deviations > ODD_FROM
        assert (odd.held is None) == (len(numbers) < LEAST_VALUES)
        for unit in odd.units:
            assert odd.held is not None
            assert odd.held.deviations(unit.value) <= BACK_WITHIN
    rng.shuffle(readings)
    assert odd_values(readings, QUANTITIES) == found


@given(st.lists(st.floats(100, 3000), min_size=9, max_size=40))
def test_fewer_than_half_of_the_values_are_odd(numbers):
    readings = [taken(value, case=f"A{at:02d}") for at, value in enumerate(numbers)]
    odd = [row for row in odd_values(readings, QUANTITIES) if not row.outside_limits]
    assert 2 * len(odd) <= len(numbers)
