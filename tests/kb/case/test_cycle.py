"""The cycle from readings, against CoolProp."""

from dataclasses import replace

import pytest
from CoolProp.CoolProp import PropsSI

from kb.case.cycle import cycle_of, has_both_sides
from kb.case.model import Vehicle
from kb.case.pressure import standard_atmosphere
from kb.case.units import convert
from tests.kb.case.worked_examples import degc, set_of
from tests.sources.fit_enthalpy import FLUIDS, shift_kj_kg

BOTH = ("low_side_pressure 32 psi", "high_side_pressure 225 psi")
TEMPERATURES = (
    "suction_line_temp 58 degF",
    "discharge_line_temp 172 degF",
    "condenser_out_temp 122 degF",
)
R134A = Vehicle(refrigerant="R-134a")


def true_state(fluid, psig, degf, altitude_m=0.0):
    """Return absolute kPa, kJ/kg (IIR) and kelvin above boiling, all of CoolProp."""
    kpa = convert(psig, "psi", "kPa") + standard_atmosphere(altitude_m).kpa
    boiling = PropsSI("T", "P", kpa * 1000, "Q", 1, fluid) - 273.15
    kj_kg = PropsSI("H", "T", degc(degf) + 273.15, "P", kpa * 1000, fluid) / 1000
    return kpa, kj_kg + shift_kj_kg(fluid), degc(degf) - boiling


@pytest.mark.source("CoolProp 8.0.0", "states of 32/225 psig with three pipe temperatures")
@pytest.mark.parametrize("name", ["R-134a", "R-1234yf"])
@pytest.mark.parametrize("altitude_m", [0.0, 1600.0])
def test_the_states_of_a_cycle_are_those_of_the_equation_of_state(name, altitude_m):
    made = cycle_of(
        set_of(*BOTH, *TEMPERATURES), vehicle=Vehicle(refrigerant=name), altitude_m=altitude_m
    )
    assert made is not None
    fluid = FLUIDS[name][0]
    for quantity, psig, degf, sign in (
        ("suction_line_temp", 32, 58, 1),
        ("discharge_line_temp", 225, 172, 1),
        ("condenser_out_temp", 225, 122, -1),
    ):
        point = made.point(quantity)
        kpa, kj_kg, above = true_state(fluid, psig, degf, altitude_m)
        assert point is not None
        assert point.kpa == pytest.approx(kpa)
        assert point.kj_kg == pytest.approx(kj_kg, abs=1.0)
        assert point.beyond_k == pytest.approx(sign * above, abs=0.05)
    assert made.missing == ("evap_pipe_out_temp",)
    assert made.odd == ()


def test_what_was_not_read_is_named_and_no_state_is_made_up():
    made = cycle_of(set_of(*BOTH), vehicle=R134A)
    assert made is not None
    assert made.points == ()
    assert len(made.missing) == 4
    assert made.point("condenser_out_temp") is None


def test_a_pipe_that_cannot_hold_that_state_is_called_odd_and_not_placed():
    # Boiling at 32 psig is about 35 degF, condensing at 225 psig about 139 degF.
    rows = (*BOTH, "suction_line_temp 20 degF", "condenser_out_temp 150 degF")
    made = cycle_of(set_of(*rows), vehicle=R134A)
    assert made is not None
    assert made.odd == ("suction_line_temp", "condenser_out_temp")
    assert made.points == ()


@pytest.mark.parametrize(
    ("rows", "refrigerant"),
    [
        (BOTH, None),
        (BOTH, "R-744"),
        (BOTH, "R-12"),
        (BOTH[:1], "R-134a"),
        (BOTH[1:], "R-134a"),
        (("low_side_pressure 225 psi", "high_side_pressure 32 psi"), "R-134a"),
        (("low_side_pressure -14 psi", "high_side_pressure 225 psi"), "R-134a"),
    ],
)
def test_without_a_known_refrigerant_and_two_sound_pressures_there_is_no_cycle(rows, refrigerant):
    assert cycle_of(set_of(*rows), vehicle=Vehicle(refrigerant=refrigerant)) is None


def test_both_sides_count_only_with_a_number():
    group = set_of(*BOTH)
    assert has_both_sides(group)
    low, high = group.readings
    assert not has_both_sides(replace(group, readings=(low, replace(high, canonical=None))))
    assert not has_both_sides(replace(group, readings=(low,)))
