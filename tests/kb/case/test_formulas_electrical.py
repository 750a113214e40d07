"""Electrics, network, high voltage: every formula held to its worked example."""

import math

import pytest

from kb.case import formulas_electrical
from kb.errors import KBError
from tests.kb.case.worked_examples import Formulas, rows_of, tolerance

FORMULAS: Formulas = {
    "cranking_drop": lambda i: formulas_electrical.cranking_drop_v(
        rest_v=i["rest_V"], crank_v=i["crank_V"]
    ),
    "source_resistance": lambda i: formulas_electrical.source_resistance_mohm(
        drop_v=i["dV"], current_a=i["I_A"]
    ),
    "voltage_drop_resistance": lambda i: formulas_electrical.voltage_drop_resistance_mohm(
        drop_v=i["drop_V"], current_a=i["I_A"]
    ),
    "charging_rise": lambda i: formulas_electrical.charging_rise_v(
        running_v=i["run_V"], rest_v=i["rest_V"]
    ),
    "charging_ripple": lambda _: formulas_electrical.bridge_ripple_percent(),
    "parasitic_days": lambda i: formulas_electrical.parasitic_days(
        capacity_ah=i["Ah"], usable_share=i["usable"], draw_a=i["draw_A"]
    ),
    "fuse_current": lambda i: formulas_electrical.fuse_current_a(
        drop_mv=i["drop_mV"], fuse_mohm=i["R_mohm"]
    ),
    "soc_from_ocv": lambda i: formulas_electrical.charge_of_rested_battery_percent(
        rested_v=i["ocv_V"]
    ),
    "thermistor_resistance": lambda i: formulas_electrical.thermistor_ohm(
        at_ohm=i["R0_ohm"], at_degc=i["T0_degC"], beta_k=i["B_K"], temperature_degc=i["T_degC"]
    ),
    "signal_percent_of_reference": lambda i: formulas_electrical.signal_percent_of_reference(
        signal_v=i["sig_V"], reference_v=i["ref_V"]
    ),
    "duty_average_volts": lambda i: formulas_electrical.duty_average_v(
        duty_percent=i["duty_pct"], supply_v=i["supply_V"]
    ),
    "commanded_minus_actual": lambda i: formulas_electrical.commanded_minus_actual_percent(
        commanded_percent=i["commanded"], actual_percent=i["actual"]
    ),
    "bus_resistance": lambda i: formulas_electrical.bus_resistance_ohm(terminators=i["n"]),
    "generator_speed": lambda i: formulas_electrical.generator_speed_rpm(
        engine_rpm=i["engine"], pulley_ratio=i["ratio"]
    ),
    "hv_cell_spread": lambda i: formulas_electrical.hv_cell_spread_mv(
        highest_v=i["max_V"], lowest_v=i["min_V"]
    ),
    "isolation_per_volt": lambda i: formulas_electrical.isolation_per_volt_ohm_v(
        isolation_ohm=i["R_ohm"], pack_v=i["V"]
    ),
}


@pytest.mark.source("trade reference, section 3", "tests/sources/derived.toml")
@pytest.mark.parametrize("row", rows_of(FORMULAS), ids=lambda row: row["key"])
def test_a_formula_gives_its_worked_example(row):
    got = FORMULAS[row["key"]](row["inputs"])
    assert got == pytest.approx(row["expect"], abs=tolerance(row))


@pytest.mark.source("lead-acid table, battery industry practice", "trade reference 4.6")
@pytest.mark.parametrize(
    ("volts", "percent"),
    [(12.65, 100), (12.45, 75), (12.24, 50), (12.06, 25), (11.89, 0), (11.2, 0), (12.7, 100)],
)
def test_charge_follows_the_table_of_rested_batteries(volts, percent):
    got = formulas_electrical.charge_of_rested_battery_percent(rested_v=volts)
    assert got == pytest.approx(percent, abs=1e-9)


@pytest.mark.parametrize("volts", [13.2, 25.4, 6.0, float("nan")])
def test_a_voltage_of_another_kind_of_battery_gives_no_charge(volts):
    with pytest.raises(KBError, match="surface charge"):
        formulas_electrical.charge_of_rested_battery_percent(rested_v=volts)


def test_the_ripple_of_a_bridge_is_what_a_sampled_waveform_shows():
    turns = [step / 5000 * 2 * math.pi for step in range(5000)]
    phases = (0.0, 2 * math.pi / 3, 4 * math.pi / 3)
    output = [
        max(math.sin(t + p) for p in phases) - min(math.sin(t + p) for p in phases) for t in turns
    ]
    sampled = formulas_electrical.ripple_percent(highest_v=max(output), lowest_v=min(output))
    assert formulas_electrical.bridge_ripple_percent() == pytest.approx(sampled, abs=0.01)
