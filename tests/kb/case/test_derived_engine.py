"""Fuel, air and mechanics: which derived readings a set gives, and that nothing is made up."""

import pytest

from kb.case.model import Vehicle
from tests.kb.case.worked_examples import Example, assert_given, assert_nothing_made_up, derived

# Rows, state, key, position, value, tolerance, sources; values from the worked examples.
EXAMPLES: list[Example] = [
    (
        ("stft -3.1 percent @ bank 1", "ltft 21.9 percent @ Bank 1"),
        (),
        "total_fuel_trim",
        "bank 1",
        18.8,
        1e-9,
        ("stft", "ltft"),
    ),
    (
        (
            "stft 0 percent @ bank 1",
            "ltft 18.8 percent @ bank 1",
            "stft 0 percent @ b2",
            "ltft -1.6 percent @ b2",
        ),
        (),
        "trim_bank_difference",
        None,
        20.4,
        1e-9,
        ("stft", "ltft"),
    ),
    (
        (
            "exhaust_co2 15 percent",
            "exhaust_co 0.2 percent",
            "exhaust_o2 0.3 percent",
            "exhaust_hc 50 ppm",
        ),
        (),
        "lambda_from_gas",
        None,
        1.0061,
        5e-5,
        ("exhaust_co2", "exhaust_co", "exhaust_o2", "exhaust_hc"),
    ),
    (
        ("manifold_vacuum 18.5 inHg", "barometric_pressure 101.3 kPa"),
        (),
        "manifold_absolute",
        None,
        38.65,
        0.005,
        ("manifold_vacuum", "barometric_pressure"),
    ),
    (
        ("fuel_pressure 55 psi @ running", "map 39.3 kPa", "barometric_pressure 101.3 kPa"),
        (),
        "injector_pressure_difference",
        None,
        441.2,
        0.05,
        ("fuel_pressure", "map", "barometric_pressure"),
    ),
    (
        ("injector_pulse 11.5 ms", "engine_speed 5200 rpm"),
        (),
        "injector_duty",
        None,
        49.8,
        0.05,
        ("injector_pulse", "engine_speed"),
    ),
    (
        (
            "fuel_pressure_drop 11.8 psi @ cyl 1",
            "fuel_pressure_drop 12.1 psi @ cyl 2",
            "fuel_pressure_drop 9.2 psi @ cyl 3",
            "fuel_pressure_drop 12 psi @ cyl 4",
        ),
        (),
        "injector_balance",
        "cyl 3",
        -18.4,
        0.05,
        ("fuel_pressure_drop",),
    ),
    (
        ("maf 7.5 g/s", "lambda 1 1", "fuel_alcohol 0 percent"),
        (),
        "expected_fuel_flow",
        None,
        0.51,
        0.005,
        ("maf", "lambda", "fuel_alcohol"),
    ),
    (
        ("catalyst_temp 548 degC @ bank 1 in", "catalyst_temp 612 degC @ bank 1 out"),
        (),
        "catalyst_temp_rise",
        "bank 1",
        64.0,
        1e-9,
        ("catalyst_temp",),
    ),
    (
        (
            "compression 178 psi @ 1",
            "compression 172 psi @ cyl 2",
            "compression 118 psi @ cyl 3 dry",
            "compression 175 psi @ 4",
        ),
        (),
        "compression_spread",
        None,
        33.7,
        0.05,
        ("compression",),
    ),
    (
        (
            "cranking_current 161 A @ 1",
            "cranking_current 158 A @ 2",
            "cranking_current 149 A @ 3",
            "cranking_current 103 A @ 4",
        ),
        (),
        "relative_compression",
        "4",
        64.0,
        0.05,
        ("cranking_current",),
    ),
    (
        ("oil_pressure 52 psi", "engine_speed 2600 rpm"),
        ("engine_hot",),
        "oil_pressure_per_1000",
        None,
        20.0,
        1e-6,
        ("oil_pressure", "engine_speed"),
    ),
]
# Of these, some may be missing; see below.
SEVERAL = {"injector_balance", "compression_spread", "relative_compression"}


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
    assert_nothing_made_up(example, optional=("barometric_pressure",))


@pytest.mark.parametrize(
    ("rows", "state", "key"),
    [
        (
            ("oil_pressure 60 psi", "engine_speed 1200 rpm"),
            ("engine_cold",),
            "oil_pressure_per_1000",
        ),
        (
            ("fuel_pressure 55 psi", "map 39 kPa", "fuel_rail_pressure 5 MPa"),
            (),
            "injector_pressure_difference",
        ),
        (("stft 5 percent @ bank 1", "ltft 9 percent @ bank 2"), (), "total_fuel_trim"),
        (("compression 170 psi @ 1", "compression 60 psi @ 2 running"), (), "compression_spread"),
        (("maf 4.6 g/s",), ("at_idle",), "idle_air_per_litre"),
    ],
)
def test_a_row_is_left_out_where_its_formula_is_not_meant(rows, state, key):
    assert key not in {row_key for row_key, _ in derived(*rows, state=state)}


@pytest.mark.parametrize(
    "example", [row for row in EXAMPLES if row[2] in SEVERAL], ids=lambda row: row[2]
)
def test_one_cylinder_alone_is_compared_with_nothing(example):
    rows, state, key, *_ = example
    assert key not in {row_key for row_key, _ in derived(rows[0], state=state)}


@pytest.mark.source("trade reference, section 3", "idle_air_per_litre, volumetric_efficiency")
def test_air_per_litre_needs_an_engine_written_in_litres():
    vehicle = Vehicle(engine="2.0 L")
    idle = derived("maf 4.6 g/s", state=("engine_hot", "at_idle"), vehicle=vehicle)
    assert idle["idle_air_per_litre", None].value == pytest.approx(2.3)
    flat_out = derived(
        "maf 74 g/s",
        "map 98 kPa",
        "intake_air_temp 30 degC",
        "engine_speed 6000 rpm",
        vehicle=vehicle,
    )
    assert flat_out["volumetric_efficiency", None].value == pytest.approx(0.657, abs=5e-4)


def test_wet_and_dry_compression_are_compared_apart():
    made = derived(
        "compression 170 psi @ cyl 1 dry",
        "compression 60 psi @ cyl 2 dry",
        "compression 175 psi @ cyl 1 wet",
        "compression 140 psi @ cyl 2 wet",
    )
    assert made["compression_spread", None].value == pytest.approx(100 * 110 / 170)
    assert made["compression_spread", "wet"].value == pytest.approx(20.0)
