"""Fuel, air, exhaust and mechanics: every formula held to its worked example."""

import pytest

from kb.case import formulas_engine
from kb.case.units import convert
from tests.kb.case.worked_examples import Formulas, absolute, gauge, rows_of, tolerance

FORMULAS: Formulas = {
    "total_fuel_trim": lambda i: formulas_engine.total_fuel_trim_percent(
        short_percent=i["stft_pct"], long_percent=i["ltft_pct"]
    ),
    "trim_bank_difference": lambda i: formulas_engine.trim_bank_difference_percent(
        bank_1_percent=i["b1"], bank_2_percent=i["b2"]
    ),
    "trim_idle_minus_load": lambda i: formulas_engine.trim_idle_minus_load_percent(
        idle_percent=i["idle"], load_percent=i["rpm2500"]
    ),
    "lambda_from_afr": lambda i: formulas_engine.lambda_from_afr(
        air_fuel_ratio=i["afr"], stoichiometric=i["stoich"]
    ),
    "lambda_from_wideband_volts": lambda i: formulas_engine.lambda_from_wideband(
        output_v=i["volts"],
        full_v=i["V_full"],
        lambda_at_zero=i["lambda_0"],
        lambda_at_full=i["lambda_full"],
    ),
    "lambda_from_gas": lambda i: formulas_engine.lambda_from_gas(
        formulas_engine.ExhaustGas(
            co2_percent=i["CO2"],
            co_percent=i["CO"],
            o2_percent=i["O2"],
            hc_percent=i["HC_pct"],
            no_percent=i["NO"],
        ),
        hydrogen_per_carbon=i["Hcv"],
        oxygen_per_carbon=i["Ocv"],
    ),
    "expected_air_flow": lambda i: formulas_engine.expected_air_flow_g_s(
        volumetric_efficiency=i["VE"],
        pressure=absolute(i["p_kPa"]),
        air_degc=i["T_degC"],
        displacement_l=i["Vd_L"],
        speed_rpm=i["rpm"],
    ),
    "volumetric_efficiency": lambda i: formulas_engine.volumetric_efficiency(
        air_flow_g_s=i["maf_gs"],
        pressure=absolute(i["p_kPa"]),
        air_degc=i["T_degC"],
        displacement_l=i["Vd_L"],
        speed_rpm=i["rpm"],
    ),
    "idle_air_per_litre": lambda i: formulas_engine.idle_air_per_litre_g_s_l(
        air_flow_g_s=i["maf_gs"], displacement_l=i["Vd_L"]
    ),
    "manifold_absolute": lambda i: formulas_engine.manifold_absolute_kpa(
        barometer=absolute(i["baro_kPa"]), vacuum_kpa=convert(i["vacuum_inHg"], "inHg", "kPa")
    ),
    "injector_pressure_difference": lambda i: formulas_engine.injector_pressure_difference_kpa(
        rail=gauge(i["rail_psig"]),
        manifold=absolute(i["map_kPa"]),
        barometer=absolute(i["baro_kPa"]),
    ),
    "injector_duty": lambda i: formulas_engine.injector_duty_percent(
        pulse_ms=i["pulse_ms"], speed_rpm=i["rpm"]
    ),
    "injector_balance": lambda i: formulas_engine.injector_balance_percent(
        drops_kpa=tuple(convert(psi, "psi", "kPa") for psi in i["drops_psi"]), which=i["which"]
    ),
    "expected_fuel_flow": lambda i: formulas_engine.expected_fuel_flow_g_s(
        air_flow_g_s=i["maf_gs"], lambda_ratio=i["lambda"], stoichiometric=i["stoich"]
    ),
    "misfire_percent": lambda i: formulas_engine.misfire_percent(
        count=i["count"], cylinders=i["cylinders"], revolutions=i["revs"]
    ),
    "catalyst_temp_rise": lambda i: formulas_engine.catalyst_temp_rise_k(
        in_degc=i["in_degC"], out_degc=i["out_degC"]
    ),
    "compression_spread": lambda i: formulas_engine.compression_spread_percent(
        cylinders_kpa=tuple(convert(psi, "psi", "kPa") for psi in i["psi"])
    ),
    "compression_altitude": lambda i: convert(
        formulas_engine.compression_at_altitude_kpa(
            sea_level=gauge(i["p_gauge_sea_psi"]), altitude_m=i["altitude_m"]
        ),
        "kPa",
        "psi",
    ),
    "leakdown_percent": lambda i: formulas_engine.leakdown_percent(
        supply_kpa=convert(i["supply_psi"], "psi", "kPa"),
        cylinder_kpa=convert(i["cylinder_psi"], "psi", "kPa"),
    ),
    "relative_compression": lambda i: formulas_engine.relative_compression_percent(
        peaks_a=tuple(i["peaks_A"]), which=i["which"]
    ),
    "oil_pressure_per_1000": lambda i: formulas_engine.oil_pressure_per_1000_psi(
        pressure_psi=i["p_psi"], speed_rpm=i["rpm"]
    ),
}


@pytest.mark.source("trade reference, section 3", "tests/sources/derived.toml")
@pytest.mark.parametrize("row", rows_of(FORMULAS), ids=lambda row: row["key"])
def test_a_formula_gives_its_worked_example(row):
    got = FORMULAS[row["key"]](row["inputs"])
    assert got == pytest.approx(row["expect"], abs=tolerance(row))


@pytest.mark.source("trade reference, section 3", "total_fuel_trim: exact product")
def test_both_trims_multiplied_are_a_little_less_than_their_sum():
    exact = formulas_engine.exact_fuel_trim_percent(short_percent=-3.1, long_percent=21.9)
    assert exact == pytest.approx(18.1, abs=0.05)


@pytest.mark.source("trade reference, section 3", "expected_fuel_flow: litres an hour")
def test_half_a_gram_a_second_is_two_and_a_half_litres_an_hour():
    assert formulas_engine.petrol_l_h(fuel_flow_g_s=0.510) == pytest.approx(2.47, abs=0.006)


@pytest.mark.source("Heywood 1988, from memory", "trade reference, lambda_from_afr")
@pytest.mark.parametrize(("alcohol", "ratio"), [(0, 14.7), (10, 14.1), (85, 9.8)])
def test_air_per_fuel_falls_with_alcohol(alcohol, ratio):
    got = formulas_engine.stoichiometric_of_alcohol(alcohol_percent=alcohol)
    assert got == pytest.approx(ratio)


def test_gas_with_no_excess_of_anything_is_lambda_one():
    # Complete combustion of CH1.7261 without oxygen in the fuel leaves carbon dioxide only.
    gas = formulas_engine.ExhaustGas(
        co2_percent=15.2, co_percent=0.0, o2_percent=0.0, hc_percent=0.0
    )
    assert formulas_engine.lambda_from_gas(gas) == pytest.approx(1.0, abs=1e-12)


def test_misfires_are_counted_against_five_hundred_firings_a_cylinder_in_a_thousand_turns():
    got = formulas_engine.misfire_percent(count=20, cylinders=4, revolutions=1000)
    assert got == pytest.approx(1.0)
