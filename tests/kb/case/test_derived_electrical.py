"""Electrics and high voltage: which derived readings a set gives, and that nothing is made up."""

import pytest

from tests.kb.case.worked_examples import Example, assert_given, assert_nothing_made_up, derived

# Rows, state, key, position, value, tolerance, sources; values from the worked examples.
EXAMPLES: list[Example] = [
    (
        ("battery_voltage_rest 12.62 V", "battery_voltage_crank 9.85 V"),
        (),
        "cranking_drop",
        None,
        2.77,
        1e-9,
        ("battery_voltage_rest", "battery_voltage_crank"),
    ),
    (
        ("battery_voltage_rest 12.62 V", "battery_voltage_crank 9.85 V", "cranking_current 185 A"),
        (),
        "source_resistance",
        None,
        15.0,
        0.05,
        ("battery_voltage_rest", "battery_voltage_crank", "cranking_current"),
    ),
    (
        ("voltage_drop 0.62 V @ ground", "circuit_current 82 A"),
        (),
        "voltage_drop_resistance",
        "ground",
        7.56,
        0.005,
        ("voltage_drop", "circuit_current"),
    ),
    (
        ("voltage_drop 0.62 V @ cable", "cranking_current 82 A"),
        ("cranking",),
        "voltage_drop_resistance",
        "cable",
        7.56,
        0.005,
        ("voltage_drop", "cranking_current"),
    ),
    (
        ("battery_voltage_running 14.31 V", "battery_voltage_rest 12.58 V"),
        (),
        "charging_rise",
        None,
        1.73,
        1e-9,
        ("battery_voltage_running", "battery_voltage_rest"),
    ),
    (
        ("battery_voltage_rest 12.3 V",),
        (),
        "soc_from_ocv",
        None,
        57.0,
        0.5,
        ("battery_voltage_rest",),
    ),
    (
        ("fuse_drop 0.8 mV @ fuse 12", "resistance 0.0064 ohm @ fuse 12"),
        (),
        "fuse_current",
        "fuse 12",
        0.125,
        1e-6,
        ("fuse_drop", "resistance"),
    ),
    (
        ("signal_voltage 0.42 V @ sender", "reference_voltage 5 V @ sender"),
        (),
        "signal_percent_of_reference",
        "sender",
        8.4,
        1e-6,
        ("signal_voltage", "reference_voltage"),
    ),
    (
        ("duty_cycle 35 percent", "supply_voltage 13.9 V"),
        (),
        "duty_average_volts",
        None,
        4.87,
        0.006,
        ("duty_cycle", "supply_voltage"),
    ),
    (
        ("actuator_command 80 percent @ EGR", "actuator_actual 12 percent @ EGR"),
        (),
        "commanded_minus_actual",
        "EGR",
        68.0,
        1e-9,
        ("actuator_command", "actuator_actual"),
    ),
    (
        ("hv_cell_max 3.912 V", "hv_cell_min 3.846 V"),
        (),
        "hv_cell_spread",
        None,
        66.0,
        1e-6,
        ("hv_cell_max", "hv_cell_min"),
    ),
    (
        ("hv_isolation 0.15 Mohm", "hv_pack_voltage 360 V"),
        (),
        "isolation_per_volt",
        None,
        417.0,
        0.5,
        ("hv_isolation", "hv_pack_voltage"),
    ),
]


@pytest.mark.source("trade reference, section 3", "worked examples")
@pytest.mark.parametrize("example", EXAMPLES, ids=lambda row: f"{row[2]} {row[3]}")
def test_a_set_gives_the_worked_example_and_names_its_readings(example):
    assert_given(example)


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda row: f"{row[2]} {row[3]}")
def test_leaving_out_any_needed_reading_leaves_the_row_out(example):
    assert_nothing_made_up(example)


@pytest.mark.parametrize(
    ("rows", "state", "key"),
    [
        (("battery_voltage_rest 12.6 V", "soak_time 1 h"), (), "soc_from_ocv"),
        (("battery_voltage_rest 12.6 V",), ("engine_hot",), "soc_from_ocv"),
        (("battery_voltage_rest 12.6 V @ after charge",), (), "soc_from_ocv"),
        (("battery_voltage_rest 25.2 V",), (), "soc_from_ocv"),
        (("voltage_drop 0.3 V", "circuit_current 0 A"), (), "voltage_drop_resistance"),
        (
            ("actuator_command 80 percent @ EGR", "actuator_actual 12 percent @ fan"),
            (),
            "commanded_minus_actual",
        ),
    ],
)
def test_a_row_is_left_out_where_its_formula_is_not_meant(rows, state, key):
    assert key not in {row_key for row_key, _ in derived(*rows, state=state)}
