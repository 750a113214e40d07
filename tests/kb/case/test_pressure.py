"""Gauge and absolute pressure never mix."""

import tomllib
from pathlib import Path

import pytest

from kb.case.pressure import (
    AbsolutePressure,
    GaugePressure,
    absolute_from_gauge,
    gauge_from_absolute,
    standard_atmosphere,
)
from kb.case.units import convert
from kb.errors import KBError, UnitError

VECTORS = tomllib.loads(
    (Path(__file__).parents[2] / "sources" / "testvectors.toml").read_text(encoding="utf-8")
)


@pytest.mark.source("ISO 2533 standard atmosphere", "tests/sources/testvectors.toml")
@pytest.mark.parametrize("row", VECTORS["standard_atmosphere"], ids=lambda row: f"{row['h_m']:g} m")
def test_the_standard_atmosphere_equals_the_table(row):
    assert standard_atmosphere(row["h_m"]).kpa == pytest.approx(row["kpa"], abs=0.001)


def test_an_absolute_pressure_is_refused_where_a_gauge_reading_is_due():
    air = standard_atmosphere(0.0)
    with pytest.raises(UnitError, match="expected a GaugePressure, got AbsolutePressure"):
        absolute_from_gauge(AbsolutePressure(200.0), barometer=air)  # type: ignore[arg-type]


def test_a_gauge_reading_is_refused_where_an_absolute_pressure_is_due():
    with pytest.raises(UnitError, match="expected an AbsolutePressure, got GaugePressure"):
        gauge_from_absolute(
            GaugePressure(200.0),  # type: ignore[arg-type]
            barometer=standard_atmosphere(0.0),
        )


def test_a_bare_number_is_refused_as_a_barometer():
    with pytest.raises(UnitError, match="got float"):
        absolute_from_gauge(GaugePressure(200.0), barometer=101.3)  # type: ignore[arg-type]


def test_gauge_and_absolute_are_never_equal():
    gauge: object = GaugePressure(100.0)
    assert gauge != AbsolutePressure(100.0)


def test_gauge_to_absolute_and_back_gives_the_reading_again():
    air = standard_atmosphere(1609.344)
    back = gauge_from_absolute(
        absolute_from_gauge(GaugePressure(206.8), barometer=air), barometer=air
    )
    assert back.kpa == pytest.approx(206.8)


@pytest.mark.source("NIST SP 811 (2008)", "appendix B: psi")
def test_thirty_psi_at_a_mile_up_is_42_1_psi_absolute():
    gauge = GaugePressure(convert(30, "psi", "kPa"))
    absolute = absolute_from_gauge(gauge, barometer=standard_atmosphere(1609.344))
    assert convert(absolute.kpa, "kPa", "psi") == pytest.approx(42.1, abs=0.01)


def test_a_reading_below_a_perfect_vacuum_says_what_to_check():
    with pytest.raises(KBError, match="check the gauge"):
        absolute_from_gauge(GaugePressure(-102.0), barometer=standard_atmosphere(0.0))


@pytest.mark.parametrize("altitude_m", [-600.0, 12000.0, float("nan"), float("inf")])
def test_an_altitude_outside_the_lowest_layer_is_refused(altitude_m):
    with pytest.raises(KBError, match="barometer reading"):
        standard_atmosphere(altitude_m)
