"""The saturation equation against CoolProp, tables and handbook points."""

import tomllib
from pathlib import Path

import pytest
from CoolProp.CoolProp import PropsSI

from kb.case.pressure import (
    AbsolutePressure,
    GaugePressure,
    absolute_from_gauge,
    standard_atmosphere,
)
from kb.case.refrigerant import (
    FLUIDS,
    refrigerant_name,
    saturation_pressure,
    saturation_temp_degc,
)
from kb.case.units import convert
from kb.errors import KBError, UnitError
from tests.sources.fit_saturation import fit

VECTORS = tomllib.loads(
    (Path(__file__).parents[2] / "sources" / "testvectors.toml").read_text(encoding="utf-8")
)
# Name here, name at CoolProp, range in degC, error of pressure in percent, of temperature in K:
# the figures of the module's docstring.
ACCURACY = [
    ("R-134a", "R134a", (-40.0, 90.0), 0.015, 0.007),
    ("R-1234yf", "R1234yf", (-40.0, 90.0), 0.032, 0.016),
    ("R-744", "CO2", (-40.0, 30.0), 0.004, 0.002),
    ("water", "Water", (60.0, 150.0), 0.001, 0.001),
]


def grid(low: float, high: float) -> list[float]:
    return [low + 0.25 * step for step in range(round((high - low) / 0.25) + 1)]


@pytest.mark.source("CoolProp", "vapour pressure on a 0.25 K grid")
@pytest.mark.parametrize(("name", "fluid", "span", "percent", "kelvin"), ACCURACY)
def test_the_equation_stays_within_the_error_that_its_docstring_states(
    name, fluid, span, percent, kelvin
):
    worst_percent = worst_kelvin = 0.0
    for degc in grid(*span):
        kpa = PropsSI("P", "T", degc + 273.15, "Q", 1, fluid) / 1000
        got = saturation_pressure(name, degc).kpa
        worst_percent = max(worst_percent, abs(got / kpa - 1) * 100)
        worst_kelvin = max(
            worst_kelvin, abs(saturation_temp_degc(name, AbsolutePressure(kpa)) - degc)
        )
    # The docstring rounds to its last digit.
    assert worst_percent <= percent + 0.0005
    assert worst_kelvin <= kelvin + 0.0005
    assert worst_percent > percent / 2


@pytest.mark.source("CoolProp", "tests/sources/fit_saturation.py")
@pytest.mark.parametrize("name", [row[0] for row in ACCURACY])
def test_the_coefficients_are_those_that_the_fitting_script_finds(name):
    critical_k, critical_kpa, terms, _ = fit(name)
    assert FLUIDS[name].terms == pytest.approx(terms, abs=2e-5)
    assert FLUIDS[name].critical_k == pytest.approx(critical_k, abs=1e-4)
    assert FLUIDS[name].critical_kpa == pytest.approx(critical_kpa, abs=1e-3)


@pytest.mark.source("CoolProp", "critical point")
@pytest.mark.parametrize(("name", "fluid"), [row[:2] for row in ACCURACY])
def test_the_critical_points_are_those_of_the_equation_of_state(name, fluid):
    assert FLUIDS[name].critical_k == pytest.approx(PropsSI("Tcrit", fluid), abs=0.001)
    assert FLUIDS[name].critical_kpa == pytest.approx(PropsSI("pcrit", fluid) / 1000, abs=0.01)


@pytest.mark.source("CoolProp", "vapour pressure beyond the fitted range")
@pytest.mark.parametrize(
    ("name", "fluid", "low", "high", "percent"),
    [
        ("R-134a", "R134a", -50.0, 101.0, 0.16),
        ("R-1234yf", "R1234yf", -50.0, 94.5, 0.16),
        ("R-744", "CO2", -50.0, 30.75, 0.16),
        ("water", "Water", 40.0, 150.0, 0.03),
    ],
)
def test_beyond_its_range_the_equation_stays_within_the_stated_error(
    name, fluid, low, high, percent
):
    worst = max(
        abs(
            saturation_pressure(name, degc).kpa
            / (PropsSI("P", "T", degc + 273.15, "Q", 1, fluid) / 1000)
            - 1
        )
        for degc in grid(low, high)
    )
    assert worst * 100 <= percent


@pytest.mark.source("CoolProp 8.0.0", "tests/sources/testvectors.toml, 31 rows of saturation")
@pytest.mark.parametrize("row", VECTORS["saturation"], ids=lambda row: f"{row['psig']} psig")
def test_saturation_temperatures_equal_the_table(row):
    gauge = GaugePressure(convert(row["psig"], "psi", "kPa"))
    pressure = absolute_from_gauge(gauge, barometer=standard_atmosphere(0.0))
    assert pressure.kpa == pytest.approx(row["kpa_abs"], abs=0.01)
    for name, column in (("R-134a", "r134a"), ("R-1234yf", "r1234yf")):
        degc = saturation_temp_degc(name, pressure)
        # The table is rounded to 0.01 degC and 0.1 degF; the rest is the equation's own error.
        assert degc == pytest.approx(row[f"{column}_c"], abs=0.005 + 0.016)
        assert convert(degc, "degC", "degF") == pytest.approx(row[f"{column}_f"], abs=0.05 + 0.03)


@pytest.mark.source(
    "published refrigerant tables, recalled", "trade reference 4.1, five points each"
)
@pytest.mark.parametrize(
    ("name", "degc", "kpa"),
    [
        ("R-134a", -26.07, 101.325),
        ("R-134a", 0.0, 292.8),
        ("R-134a", 20.0, 571.7),
        ("R-134a", 40.0, 1016.6),
        ("R-134a", 60.0, 1681.8),
        ("R-1234yf", -29.45, 101.325),
        ("R-1234yf", 0.0, 316.0),
        ("R-1234yf", 20.0, 592.0),
        ("R-1234yf", 40.0, 1018.0),
        ("R-1234yf", 60.0, 1642.0),
    ],
)
def test_handbook_points_are_met_within_a_tenth_of_a_percent(name, degc, kpa):
    assert saturation_pressure(name, degc).kpa == pytest.approx(kpa, rel=1e-3)


@pytest.mark.source("CoolProp 8.0.0", "trade reference 4.1: R-134a, 30 psig")
def test_thirty_psig_a_mile_up_is_31_6_degf_and_not_34_6():
    gauge = GaugePressure(convert(30, "psi", "kPa"))
    shop = absolute_from_gauge(gauge, barometer=standard_atmosphere(1609.344))
    sea = absolute_from_gauge(gauge, barometer=standard_atmosphere(0.0))
    shop_f, sea_f = (
        convert(saturation_temp_degc("R-134a", p), "degC", "degF") for p in (shop, sea)
    )
    assert shop_f == pytest.approx(31.6, abs=0.05)
    assert sea_f == pytest.approx(34.6, abs=0.05)


@pytest.mark.parametrize("name", ["R-134a", "R-1234yf", "R-744", "water"])
def test_temperature_of_pressure_undoes_pressure_of_temperature(name):
    fluid = FLUIDS[name]
    span = fluid.critical_k - 273.15 - fluid.lowest_degc
    for step in range(201):
        degc = fluid.lowest_degc + span * step / 201
        back = saturation_temp_degc(name, saturation_pressure(name, degc))
        assert back == pytest.approx(degc, abs=1e-6)


@pytest.mark.parametrize(
    ("name", "kpa"), [("R-134a", 4060.0), ("R-1234yf", 3385.0), ("R-744", 7378.0)]
)
def test_a_pressure_above_the_critical_point_is_refused_with_advice(name, kpa):
    with pytest.raises(KBError, match=r"critical pressure.*check the unit and the refrigerant"):
        saturation_temp_degc(name, AbsolutePressure(kpa))


def test_a_gauge_pressure_has_no_saturation_temperature():
    with pytest.raises(UnitError, match="expected an AbsolutePressure, got GaugePressure"):
        saturation_temp_degc("R-134a", GaugePressure(206.8))  # type: ignore[arg-type]


@pytest.mark.parametrize("kpa", [0.0, -5.0, 10.0, float("nan")])
def test_a_vacuum_has_no_saturation_temperature(kpa):
    with pytest.raises(KBError, match="vacuum"):
        saturation_temp_degc("R-134a", AbsolutePressure(kpa))


@pytest.mark.parametrize("degc", [-60.0, 102.0, float("nan")])
def test_a_temperature_outside_the_equation_is_refused(degc):
    with pytest.raises(KBError, match="check the unit of the temperature"):
        saturation_pressure("R-134a", degc)


def test_an_unknown_fluid_is_refused_with_the_known_ones():
    with pytest.raises(KBError, match=r"R-134a, R-1234yf, R-744.*got 'R-12'"):
        saturation_pressure("R-12", 20.0)


@pytest.mark.parametrize(
    ("typed", "name"),
    [
        ("R-134a", "R-134a"),
        ("R134a", "R-134a"),
        ("r 134A", "R-134a"),
        ("R1234yf", "R-1234yf"),
        ("R-1234YF", "R-1234yf"),
        ("R744", "R-744"),
        ("CO2", "R-744"),
        ("R-12", None),
        ("water", None),
        ("", None),
        (None, None),
    ],
)
def test_refrigerants_are_known_by_their_usual_spellings(typed, name):
    assert refrigerant_name(typed) == name
