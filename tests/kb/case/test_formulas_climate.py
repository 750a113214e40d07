"""Air, air conditioning and cooling: every formula held to its worked example."""

import pytest

from kb.case import formulas_climate
from kb.case.pressure import GaugePressure, standard_atmosphere
from kb.case.units import convert
from kb.errors import KBError
from tests.kb.case.worked_examples import (
    VECTORS,
    Formulas,
    absolute,
    degc,
    gauge,
    rows_of,
    tolerance,
)

FORMULAS: Formulas = {
    "atm_pressure_at_altitude": lambda i: formulas_climate.atm_pressure_at_altitude_kpa(
        altitude_m=i["h_m"]
    ),
    "absolute_pressure": lambda i: formulas_climate.absolute_pressure_kpa(
        gauge=GaugePressure(i["p_gauge_kPa"]), barometer=absolute(i["p_atm_kPa"])
    ),
    "saturation_temp": lambda i: formulas_climate.saturation_temp_of_gauge_degc(
        i["refrigerant"],
        gauge=gauge(i["p_gauge_psi"]),
        barometer=standard_atmosphere(i["altitude_m"]),
    ),
    "evaporator_superheat": lambda i: formulas_climate.evaporator_superheat_k(
        i["refrigerant"], low_side=gauge(i["p_low_psig"]), pipe_degc=degc(i["T_pipe_degF"])
    ),
    "condenser_subcooling": lambda i: formulas_climate.condenser_subcooling_k(
        i["refrigerant"], high_side=gauge(i["p_high_psig"]), pipe_degc=degc(i["T_pipe_degF"])
    ),
    "compression_ratio": lambda i: formulas_climate.compression_ratio(
        high_side=gauge(i["p_high_psig"]),
        low_side=gauge(i["p_low_psig"]),
        barometer=absolute(i["p_atm_kPa"]),
    ),
    "condensing_over_ambient": lambda i: formulas_climate.condensing_over_ambient_k(
        i["refrigerant"], high_side=gauge(i["p_high_psig"]), ambient_degc=degc(i["ambient_degF"])
    ),
    "static_over_saturation": lambda i: formulas_climate.static_over_saturation_kpa(
        i["refrigerant"], static=gauge(i["p_static_psig"]), soak_degc=degc(i["soak_degF"])
    ),
    "vent_over_ambient": lambda i: formulas_climate.vent_over_ambient_k(
        vent_degc=degc(i["vent_degF"]), ambient_degc=degc(i["ambient_degF"])
    ),
    "evaporator_air_drop": lambda i: formulas_climate.evaporator_air_drop_k(
        air_in_degc=degc(i["air_in_degF"]), air_out_degc=degc(i["air_out_degF"])
    ),
    "reheat_after_evaporator": lambda i: formulas_climate.reheat_after_evaporator_k(
        vent_degc=degc(i["vent_degF"]), evap_out_degc=degc(i["evap_out_degF"])
    ),
    "door_leak_fraction": lambda i: formulas_climate.door_leak_fraction(
        vent_degc=degc(i["vent_degF"]),
        evap_out_degc=degc(i["evap_out_degF"]),
        heater_out_degc=degc(i["heater_out_air_degF"]),
    ),
    "charge_percent": lambda i: formulas_climate.charge_percent(**i),
    "dew_point": lambda i: formulas_climate.dew_point_degc(
        air_degc=degc(i["T_degF"]), humidity_percent=i["RH_pct"]
    ),
    "evaporator_below_dew": lambda i: formulas_climate.evaporator_below_dew_k(
        dew_degc=i["dew_degC"], evap_out_degc=degc(i["evap_degF"])
    ),
    "cooling_capacity_air": lambda i: formulas_climate.cooling_capacity_air_kw(
        flow_m3_per_h=i["flow_m3_per_h"],
        in_degc=degc(i["in_degF"]),
        in_percent=i["in_RH"],
        out_degc=degc(i["out_degF"]),
        out_percent=i["out_RH"],
    ),
    "heater_core_drop": lambda i: formulas_climate.heater_core_drop_k(
        in_degc=degc(i["in_degF"]), out_degc=degc(i["out_degF"])
    ),
    "coolant_below_rating": lambda i: formulas_climate.coolant_below_rating_k(
        rating_degc=i["rating_degC"], coolant_degc=i["coolant_degC"]
    ),
    "coolant_boil_margin": lambda i: formulas_climate.coolant_boil_margin_k(
        cap=gauge(i["cap_psig"]), coolant_degc=degc(i["coolant_degF"])
    ),
    "cold_soak_spread": lambda i: formulas_climate.cold_soak_spread_k(
        sensors_degc=(i["ect_degC"], i["iat_degC"], i["ambient_degC"])
    ),
    "radiator_drop": lambda i: formulas_climate.radiator_drop_k(
        in_degc=degc(i["in_degF"]), out_degc=degc(i["out_degF"])
    ),
    "air_density_ratio": lambda i: formulas_climate.air_density_ratio(
        barometer=absolute(i["p_kPa"]), air_degc=i["T_degC"], humidity_percent=i["RH"]
    ),
    "power_correction": lambda i: formulas_climate.power_correction(
        dry_kpa=i["p_dry_hPa"] / 10, air_degc=i["T_degC"]
    ),
}


@pytest.mark.source("trade reference, section 3", "tests/sources/derived.toml")
@pytest.mark.parametrize("row", rows_of(FORMULAS), ids=lambda row: row["key"])
def test_a_formula_gives_its_worked_example(row):
    got = FORMULAS[row["key"]](row["inputs"])
    assert got == pytest.approx(row["expect"], abs=tolerance(row))


@pytest.mark.source("psychrolib 2.5.0", "tests/sources/testvectors.toml, dew points")
@pytest.mark.parametrize("row", VECTORS["dew_point"], ids=lambda row: f"{row['air_f']} degF")
def test_dew_points_equal_the_table(row):
    got = formulas_climate.dew_point_degc(
        air_degc=degc(row["air_f"]), humidity_percent=row["rh_pct"]
    )
    assert got == pytest.approx(row["dew_c"], abs=0.04)
    assert convert(got, "degC", "degF") == pytest.approx(row["dew_f"], abs=0.1)


@pytest.mark.parametrize("percent", [0.0, -1.0, 101.0, float("nan")])
def test_a_dew_point_without_a_sane_humidity_is_refused(percent):
    with pytest.raises(KBError, match="expected a humidity"):
        formulas_climate.dew_point_degc(air_degc=20.0, humidity_percent=percent)


@pytest.mark.source("trade reference, section 3", "cooling_capacity_air: 71.2 and 22.3 kJ/kg")
def test_the_same_vent_temperature_is_far_less_work_in_dry_air():
    def work(in_percent: float) -> float:
        return formulas_climate.cooling_capacity_air_kw(
            flow_m3_per_h=350.0,
            in_degc=degc(90),
            in_percent=in_percent,
            out_degc=degc(45),
            out_percent=95.0 if in_percent > 40 else 60.0,
        )

    assert work(20.0) < 0.7 * work(50.0)
