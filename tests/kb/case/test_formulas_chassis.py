"""Driveline, brakes, tyres, wheel angles: every formula held to its worked example."""

import pytest

from kb.case import formulas_chassis
from kb.case.pressure import GaugePressure
from kb.errors import ParseError
from tests.kb.case.worked_examples import Formulas, absolute, rows_of, tolerance

FORMULAS: Formulas = {
    "gear_slip": lambda i: formulas_chassis.gear_slip_rpm(
        input_rpm=i["input"], output_rpm=i["output"], ratio=i["ratio"]
    ),
    "converter_slip": lambda i: formulas_chassis.converter_slip_rpm(
        engine_rpm=i["engine"], turbine_rpm=i["turbine"]
    ),
    "tyre_diameter": lambda i: formulas_chassis.tyre_diameter_mm(size=i["size"]),
    "tyre_order_frequency": lambda i: formulas_chassis.tyre_order_hz(
        speed_km_h=i["v_kmh"], diameter_mm=i["D_mm"]
    ),
    "wheel_speed_difference": lambda i: formulas_chassis.wheel_speed_difference_percent(
        speeds_km_h=(i["w1"], i["w2"])
    ),
    "tyre_pressure_temp": lambda i: formulas_chassis.tyre_pressure_at_kpa(
        cold=GaugePressure(i["p1_kPa"]),
        from_degc=i["T1_degC"],
        to_degc=i["T2_degC"],
        barometer=absolute(101.325),
    ),
    "rotor_thickness_variation": lambda i: formulas_chassis.rotor_thickness_variation_mm(
        points_mm=(i["max"], i["min"])
    ),
    "brake_imbalance": lambda i: formulas_chassis.brake_imbalance_percent(
        left_kn=i["left_kN"], right_kn=i["right_kN"]
    ),
    "cross_camber": lambda i: formulas_chassis.cross_angle_deg(
        left_deg=i["left"], right_deg=i["right"]
    ),
    "toe_mm_to_deg": lambda i: formulas_chassis.toe_deg(toe_mm=i["toe_mm"], diameter_mm=i["D_mm"]),
    "thrust_angle": lambda i: formulas_chassis.thrust_angle_deg(
        rear_left_deg=i["rl"], rear_right_deg=i["rr"]
    ),
}


@pytest.mark.source("trade reference, section 3", "tests/sources/derived.toml")
@pytest.mark.parametrize("row", rows_of(FORMULAS), ids=lambda row: row["key"])
def test_a_formula_gives_its_worked_example(row):
    got = FORMULAS[row["key"]](row["inputs"])
    assert got == pytest.approx(row["expect"], abs=tolerance(row))


@pytest.mark.parametrize("size", ["225-55-17", "55R17", ""])
def test_a_tyre_size_that_cannot_be_read_is_refused(size):
    with pytest.raises(ParseError, match="225/55R17"):
        formulas_chassis.tyre_diameter_mm(size=size)
