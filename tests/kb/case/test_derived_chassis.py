"""Driveline, brakes and wheels: which derived readings a set gives, and that nothing is made up."""

import pytest

from tests.kb.case.worked_examples import Example, assert_given, assert_nothing_made_up, derived

# Rows, state, key, position, value, tolerance, sources; values from the worked examples.
EXAMPLES: list[Example] = [
    (
        ("engine_speed 1650 rpm", "input_speed 1590 rpm"),
        (),
        "converter_slip",
        None,
        60.0,
        1e-9,
        ("engine_speed", "input_speed"),
    ),
    (
        ("input_speed 2350 rpm", "output_speed 1480 rpm"),
        ("gear 3 ratio 1.52",),
        "gear_slip",
        None,
        100.0,
        0.5,
        ("input_speed", "output_speed"),
    ),
    (
        ("wheel_speed 52 km/h @ LF", "wheel_speed 48.9 km/h @ RF"),
        (),
        "wheel_speed_difference",
        None,
        6.1,
        0.05,
        ("wheel_speed",),
    ),
    (
        ("rotor_thickness 24.092-24.118 mm @ LF",),
        (),
        "rotor_thickness_variation",
        "LF",
        0.026,
        1e-6,
        ("rotor_thickness",),
    ),
    (
        ("rotor_thickness 24.118 mm @ LF 1", "rotor_thickness 24.092 mm @ LF 2"),
        (),
        "rotor_thickness_variation",
        "LF",
        0.026,
        1e-6,
        ("rotor_thickness",),
    ),
    (
        ("camber -0.35 deg @ LF", "camber -1.1 deg @ right front"),
        (),
        "cross_camber",
        "camber front",
        0.75,
        1e-9,
        ("camber",),
    ),
    (
        ("caster 4.1 deg @ left", "caster 3.4 deg @ right"),
        (),
        "cross_camber",
        "caster",
        0.7,
        1e-9,
        ("caster",),
    ),
    (("toe 0.1 deg @ LR", "toe 0.44 deg @ RR"), (), "thrust_angle", None, -0.17, 1e-9, ("toe",)),
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
        (
            ("wheel_speed 20 km/h @ LF", "wheel_speed 25 km/h @ RF"),
            ("turning_left",),
            "wheel_speed_difference",
        ),
        (("input_speed 2350 rpm", "output_speed 1480 rpm"), (), "gear_slip"),
    ],
)
def test_a_row_is_left_out_where_its_formula_is_not_meant(rows, state, key):
    assert key not in {row_key for row_key, _ in derived(*rows, state=state)}
