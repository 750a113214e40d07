"""The enthalpy equations against CoolProp."""

from itertools import pairwise

import pytest
from CoolProp.CoolProp import PropsSI

from kb.case import enthalpy
from kb.case.enthalpy import dome, edge_at, liquid_kj_kg, vapour_kj_kg
from kb.case.pressure import AbsolutePressure
from kb.case.refrigerant import saturation_pressure
from kb.errors import KBError
from tests.sources.fit_enthalpy import FLUIDS, fit_saturated, fit_superheated, shift_kj_kg

# Worst errors of the module's docstring in kJ/kg: saturated, superheated, subcooled.
ACCURACY = [("R-134a", 0.05, 0.8, 1.5), ("R-1234yf", 0.10, 1.0, 1.5)]
NAMES = [row[0] for row in ACCURACY]


def span(low, high, step):
    return [low + step * at for at in range(round((high - low) / step) + 1)]


def true_kj_kg(name, degc, **other):
    fluid = FLUIDS[name][0]
    (key, value), *_ = other.items()
    return PropsSI("H", "T", degc + 273.15, key, value, fluid) / 1000 + shift_kj_kg(fluid)


@pytest.mark.source("CoolProp 8.0.0", "saturated enthalpies on a 0.5 K grid, IIR reference state")
@pytest.mark.parametrize(("name", "worst", "_vapour", "_liquid"), ACCURACY)
def test_saturated_enthalpies_stay_within_the_stated_error(name, worst, _vapour, _liquid):
    _, low, high = FLUIDS[name]
    errors = []
    for degc in span(low, high, 0.5):
        edge = edge_at(name, saturation_pressure(name, degc))
        errors.append(abs(edge.liquid_kj_kg - true_kj_kg(name, degc, Q=0)))
        errors.append(abs(edge.vapour_kj_kg - true_kj_kg(name, degc, Q=1)))
    assert worst / 2 < max(errors) <= worst


@pytest.mark.source("CoolProp 8.0.0", "vapour up to 60 K above boiling from -35 to 75 degC")
@pytest.mark.parametrize(("name", "_saturated", "worst", "_liquid"), ACCURACY)
def test_superheated_vapour_stays_within_the_stated_error(name, _saturated, worst, _liquid):
    errors = []
    for boiling in span(-35.0, 75.0, 5.0):
        pressure = saturation_pressure(name, boiling)
        for warmer in (1.0, 5.0, 10.0, 20.0, 35.0, 50.0, 60.0):
            degc = boiling + warmer - 1e-3
            true = true_kj_kg(name, degc, P=pressure.kpa * 1000)
            errors.append(abs(vapour_kj_kg(name, pressure, degc) - true))
    assert worst / 2 < max(errors) <= worst


@pytest.mark.source("CoolProp 8.0.0", "liquid up to 30 K below boiling from -20 to 75 degC")
@pytest.mark.parametrize(("name", "_saturated", "_vapour", "worst"), ACCURACY)
def test_subcooled_liquid_stays_within_the_stated_error(name, _saturated, _vapour, worst):
    errors = []
    for degc in span(-20.0, 75.0, 5.0):
        for colder in (2.0, 5.0, 10.0, 20.0, 30.0):
            if degc + colder > FLUIDS[name][2] - 3:
                continue
            kpa = saturation_pressure(name, degc + colder).kpa
            errors.append(abs(liquid_kj_kg(name, degc) - true_kj_kg(name, degc, P=kpa * 1000)))
    assert worst / 2 < max(errors) <= worst


@pytest.mark.source("CoolProp 8.0.0", "tests/sources/fit_enthalpy.py")
@pytest.mark.parametrize("name", NAMES)
def test_the_coefficients_are_those_that_the_fitting_script_finds(name):
    heat = enthalpy._HEATS[name]
    assert heat.liquid == pytest.approx(fit_saturated(name, 0)[0], abs=1e-4)
    assert heat.vapour == pytest.approx(fit_saturated(name, 1)[0], abs=1e-4)
    assert heat.superheat == pytest.approx(fit_superheated(name)[0], abs=1e-5)


@pytest.mark.source("IIR reference state", "saturated liquid at 0 degC has 200 kJ/kg")
@pytest.mark.parametrize("name", NAMES)
def test_the_reference_state_is_the_one_that_is_named(name):
    assert liquid_kj_kg(name, 0.0) == pytest.approx(200.0, abs=0.1)


@pytest.mark.parametrize("name", NAMES)
def test_the_dome_narrows_upwards_and_never_crosses_itself(name):
    edges = dome(name)
    widths = [row.vapour_kj_kg - row.liquid_kj_kg for row in edges]
    assert all(one > other > 0 for one, other in pairwise(widths))
    assert [row.kpa for row in edges] == sorted(row.kpa for row in edges)
    assert edges[0].degc == -40
    assert edges[-1].degc == FLUIDS[name][2]


def test_what_cannot_be_vapour_or_has_no_equation_is_refused():
    pressure = saturation_pressure("R-134a", 5.0)
    with pytest.raises(KBError, match="expected vapour of R-134a up to 60 K above"):
        vapour_kj_kg("R-134a", pressure, 2.0)
    with pytest.raises(KBError, match="expected vapour"):
        vapour_kj_kg("R-134a", pressure, 70.0)
    with pytest.raises(KBError, match="expected R-134a from -40 to 95 degC, got 99"):
        liquid_kj_kg("R-134a", 99.0)
    with pytest.raises(KBError, match="expected one of R-134a, R-1234yf, got 'R-744'"):
        edge_at("R-744", AbsolutePressure(5000.0))
