"""The cooling system: which derived readings a set gives, and that nothing is made up."""

import pytest

from tests.kb.case.worked_examples import Example, assert_given, assert_nothing_made_up, derived

# Rows, state, key, position, value, tolerance, sources; values from the worked examples.
EXAMPLES: list[Example] = [
    (
        ("heater_in_temp 190 degF", "heater_out_temp 158 degF"),
        (),
        "heater_core_drop",
        None,
        17.78,
        0.005,
        ("heater_in_temp", "heater_out_temp"),
    ),
    (
        ("thermostat_rating 90 degC", "coolant_temp 77 degC"),
        ("at_cruise",),
        "coolant_below_rating",
        None,
        13.0,
        1e-9,
        ("thermostat_rating", "coolant_temp"),
    ),
    (
        ("cap_opening_pressure 15 psi", "coolant_temp 232 degF"),
        (),
        "coolant_boil_margin",
        None,
        9.84,
        0.01,
        ("cap_opening_pressure", "coolant_temp"),
    ),
    (
        (
            "coolant_temp 18 degC",
            "intake_air_temp 22 degC",
            "ambient_temp 19.5 degC",
            "soak_time 9 h",
        ),
        (),
        "cold_soak_spread",
        None,
        4.0,
        1e-9,
        ("coolant_temp", "intake_air_temp", "ambient_temp", "soak_time"),
    ),
    (
        ("radiator_in_temp 205 degF", "radiator_out_temp 178 degF"),
        ("engine_hot",),
        "radiator_drop",
        None,
        15.0,
        1e-6,
        ("radiator_in_temp", "radiator_out_temp"),
    ),
]
# Of these, some may be missing; see below.
SEVERAL = {"cold_soak_spread"}


@pytest.mark.source("trade reference, section 3", "worked examples")
@pytest.mark.parametrize("example", EXAMPLES, ids=lambda row: f"{row[2]} {row[3]}")
def test_a_set_gives_the_worked_example_and_names_its_readings(example):
    assert_given(example)


@pytest.mark.parametrize(
    "example",
    [row for row in EXAMPLES if row[2] not in SEVERAL],
    ids=lambda row: f"{row[2]} {row[3]}",
)
def test_leaving_out_any_needed_reading_leaves_the_row_out(example):
    assert_nothing_made_up(example)


@pytest.mark.parametrize(
    ("rows", "state", "key"),
    [
        (
            ("thermostat_rating 90 degC", "coolant_temp 40 degC"),
            ("engine_warming",),
            "coolant_below_rating",
        ),
        (
            ("radiator_in_temp 60 degC", "radiator_out_temp 20 degC"),
            ("engine_cold",),
            "radiator_drop",
        ),
        (("coolant_temp 60 degC", "ambient_temp 20 degC", "soak_time 2 h"), (), "cold_soak_spread"),
        (
            ("cap_opening_pressure 15 psi", "coolant_temp 20 degC"),
            ("engine_cold",),
            "coolant_boil_margin",
        ),
    ],
)
def test_a_row_is_left_out_where_its_formula_is_not_meant(rows, state, key):
    assert key not in {row_key for row_key, _ in derived(*rows, state=state)}


def test_one_sensor_alone_agrees_with_nothing():
    assert derived("coolant_temp 18 degC", "soak_time 9 h") == {}


def test_two_sensors_are_enough_and_without_a_soak_they_say_nothing():
    rows = ("coolant_temp 18 degC", "ambient_temp 22 degC")
    assert derived(*rows, "soak_time 9 h")["cold_soak_spread", None].sources == (
        "coolant_temp",
        "ambient_temp",
        "soak_time",
    )
    assert derived(*rows) == {}
