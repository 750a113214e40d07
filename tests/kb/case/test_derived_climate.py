"""Air conditioning: which derived readings a set gives, and that nothing is made up."""

import pytest

from kb.case.derived import derive
from kb.case.model import Reading, ReadingSet, Vehicle
from tests.kb.case.worked_examples import Example, assert_given, assert_nothing_made_up, derived

# Rows, state, key, position, value, tolerance, sources; values from the worked examples.
EXAMPLES: list[Example] = [
    (
        ("low_side_pressure 28 psi", "evap_pipe_out_temp 44 degF"),
        (),
        "evaporator_superheat",
        None,
        6.52,
        0.02,
        ("low_side_pressure", "evap_pipe_out_temp"),
    ),
    (
        ("high_side_pressure 225 psi", "low_side_pressure 32 psi"),
        (),
        "compression_ratio",
        None,
        5.13,
        0.005,
        ("high_side_pressure", "low_side_pressure"),
    ),
    (
        ("high_side_pressure 225 psi", "ambient_temp 90 degF"),
        (),
        "condensing_over_ambient",
        None,
        27.04,
        0.02,
        ("high_side_pressure", "ambient_temp"),
    ),
    (
        ("static_pressure 95 psi", "ambient_temp 78 degF", "soak_time 10 h"),
        (),
        "static_over_saturation",
        None,
        79.86,
        0.11,
        ("static_pressure", "ambient_temp"),
    ),
    (
        ("vent_temp 96 degF @ driver", "ambient_temp 84 degF"),
        ("setting_cold",),
        "vent_over_ambient",
        "driver",
        6.67,
        0.005,
        ("vent_temp", "ambient_temp"),
    ),
    (
        ("evap_air_in_temp 82 degF", "evap_air_out_temp 46 degF"),
        (),
        "evaporator_air_drop",
        None,
        20.0,
        1e-6,
        ("evap_air_in_temp", "evap_air_out_temp"),
    ),
    (
        ("vent_temp 68 degF", "evap_air_out_temp 44 degF"),
        (),
        "reheat_after_evaporator",
        None,
        13.33,
        0.005,
        ("vent_temp", "evap_air_out_temp"),
    ),
    (
        ("refrigerant_charge 310 g @ recovered", "refrigerant_charge 650 g @ label"),
        (),
        "charge_percent",
        None,
        47.7,
        0.05,
        ("refrigerant_charge",),
    ),
    (
        ("ambient_temp 90 degF", "ambient_humidity 50 percent @ outside"),
        (),
        "dew_point",
        None,
        20.48,
        0.005,
        ("ambient_temp", "ambient_humidity"),
    ),
    (
        ("cabin_temp 90 degF", "ambient_humidity 50 percent @ cabin"),
        (),
        "dew_point",
        "cabin",
        20.48,
        0.005,
        ("cabin_temp", "ambient_humidity"),
    ),
    (
        ("ambient_temp 90 degF", "ambient_humidity 50 percent", "evap_air_out_temp 42 degF"),
        (),
        "evaporator_below_dew",
        None,
        14.92,
        0.01,
        ("ambient_temp", "ambient_humidity", "evap_air_out_temp"),
    ),
    (
        (
            "ambient_temp 35 degC",
            "ambient_humidity 60 percent",
            "barometric_pressure 95.461 kPa",
            "maf 90 g/s",
        ),
        (),
        "air_density_ratio",
        None,
        0.869,
        5e-4,
        ("ambient_temp", "ambient_humidity", "barometric_pressure"),
    ),
    (
        (
            "ambient_temp 35 degC",
            "ambient_humidity 60 percent",
            "barometric_pressure 95.461 kPa",
            "maf 90 g/s",
        ),
        (),
        "power_correction",
        None,
        1.11,
        5e-4,
        ("ambient_temp", "ambient_humidity", "barometric_pressure"),
    ),
]


@pytest.mark.source("trade reference, section 3", "worked examples")
@pytest.mark.parametrize("example", EXAMPLES, ids=lambda row: f"{row[2]} {row[3]}")
def test_a_set_gives_the_worked_example_and_names_its_readings(example):
    assert_given(example)


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda row: f"{row[2]} {row[3]}")
def test_leaving_out_any_needed_reading_leaves_the_row_out(example):
    assert_nothing_made_up(example, optional=("barometric_pressure", "soak_time"))


@pytest.mark.parametrize(
    ("rows", "state", "key"),
    [
        (("vent_temp 130 degF", "ambient_temp 40 degF"), ("setting_hot",), "vent_over_ambient"),
        (("vent_temp 80 degF", "ambient_temp 80 degF"), ("ac_off",), "vent_over_ambient"),
        (
            ("static_pressure 95 psi", "ambient_temp 78 degF"),
            ("at_idle",),
            "static_over_saturation",
        ),
        (
            ("static_pressure 95 psi", "ambient_temp 78 degF", "soak_time 1 h"),
            (),
            "static_over_saturation",
        ),
        (("ambient_temp 90 degF", "ambient_humidity 50 percent @ cabin"), (), "dew_point"),
        (("evap_pipe_out_temp OL degF", "low_side_pressure 28 psi"), (), "evaporator_superheat"),
    ],
)
def test_a_row_is_left_out_where_its_formula_is_not_meant(rows, state, key):
    assert key not in {row_key for row_key, _ in derived(*rows, state=state)}


@pytest.mark.source("trade reference, section 3", "condenser_subcooling")
@pytest.mark.parametrize("spelling", ["R-1234yf", "R1234yf", "r1234YF"])
def test_the_refrigerant_is_the_vehicles_in_any_spelling(spelling):
    rows = ("high_side_pressure 210 psi", "condenser_out_temp 118 degF")
    made = derived(*rows, vehicle=Vehicle(refrigerant=spelling))
    assert made["condenser_subcooling", None].value == pytest.approx(9.66, abs=0.02)


@pytest.mark.parametrize("refrigerant", [None, "", "R-12", "hydrocarbon mix"])
def test_an_unknown_refrigerant_gives_no_saturation_but_still_a_ratio(refrigerant):
    made = derived(
        "high_side_pressure 210 psi",
        "low_side_pressure 30 psi",
        "condenser_out_temp 118 degF",
        "ambient_temp 80 degF",
        vehicle=Vehicle(refrigerant=refrigerant),
    )
    assert [key for key, _ in made] == ["compression_ratio"]


@pytest.mark.source("CoolProp 8.0.0", "trade reference 4.1: R-134a, 30 psig, 31.6 and 34.6 degF")
def test_a_measured_barometer_beats_the_altitude_of_the_shop():
    row = "low_side_pressure 30 psi"
    at_sea = derived(row)["saturation_temp", "low side"]
    up_high = derived(row, altitude_m=1609.344)["saturation_temp", "low side"]
    measured = derived(row, "barometric_pressure 101.325 kPa", altitude_m=1609.344)
    assert at_sea.value == pytest.approx(1.42, abs=0.02)
    assert up_high.value == pytest.approx(-0.24, abs=0.02)
    assert measured["saturation_temp", "low side"].value == at_sea.value
    assert measured["saturation_temp", "low side"].sources == (
        "low_side_pressure",
        "barometric_pressure",
    )


def test_carbon_dioxide_above_its_critical_pressure_gives_no_subcooling():
    high = Reading(quantity="high_side_pressure", typed="9500", unit="kPa", canonical=9500.0)
    pipe = Reading(quantity="condenser_out_temp", typed="30", unit="degC", canonical=30.0)
    vehicle = Vehicle(refrigerant="R-744")
    assert derive(ReadingSet(readings=(high, pipe)), vehicle=vehicle) == ()


def test_on_recirculate_the_dew_point_that_counts_is_the_cabins():
    rows = (
        "ambient_temp 95 degF",
        "ambient_humidity 60 percent @ outside",
        "cabin_temp 75 degF",
        "ambient_humidity 40 percent @ cabin",
        "evap_air_out_temp 40 degF",
    )
    fresh = derived(*rows)["evaporator_below_dew", None]
    recirculated = derived(*rows, state=("on_recirculate",))["evaporator_below_dew", None]
    assert "cabin_temp" in recirculated.sources
    assert fresh.value > recirculated.value + 10
