"""Formulas of fuel, air, exhaust and the engine's mechanics; units stand in the names.

Each function is one row of ``kb/vocabulary/derived.toml``.
"""

from dataclasses import dataclass

from kb.case.pressure import (
    AbsolutePressure,
    GaugePressure,
    absolute_from_gauge,
    standard_atmosphere,
)

_AIR_J_KG_K = 287.05
_KELVIN = 273.15
# Air per fuel by mass, handbook values from memory: no, 10 and 85 percent of alcohol by volume.
_STOICH_BY_ALCOHOL = ((0.0, 14.7), (10.0, 14.1), (85.0, 9.8))


def total_fuel_trim_percent(*, short_percent: float, long_percent: float) -> float:
    """Return short plus long trim in percentage points, as the trade writes it."""
    return short_percent + long_percent


def exact_fuel_trim_percent(*, short_percent: float, long_percent: float) -> float:
    """Return both trims multiplied, as the controller applies them."""
    return (1 + short_percent / 100) * (1 + long_percent / 100) * 100 - 100


def trim_bank_difference_percent(*, bank_1_percent: float, bank_2_percent: float) -> float:
    """Return total trim of bank 1 less that of bank 2."""
    return bank_1_percent - bank_2_percent


def trim_idle_minus_load_percent(*, idle_percent: float, load_percent: float) -> float:
    """Return total trim at idle less that at 2,500 rpm or under load."""
    return idle_percent - load_percent


def lambda_from_afr(*, air_fuel_ratio: float, stoichiometric: float) -> float:
    """Return lambda of an air-fuel ratio."""
    return air_fuel_ratio / stoichiometric


def lambda_from_wideband(
    *, output_v: float, full_v: float, lambda_at_zero: float, lambda_at_full: float
) -> float:
    """Return lambda of a linear wideband output; the constants belong to the part."""
    return lambda_at_zero + output_v / full_v * (lambda_at_full - lambda_at_zero)


@dataclass(frozen=True, slots=True, kw_only=True)
class ExhaustGas:
    """Shares of the dry exhaust by volume, in percent; ``hc`` as hexane.

    A four-gas bench does not measure ``no``, which the formula then leaves out.
    """

    co2_percent: float
    co_percent: float
    o2_percent: float
    hc_percent: float
    no_percent: float = 0.0


def lambda_from_gas(
    gas: ExhaustGas, *, hydrogen_per_carbon: float = 1.7261, oxygen_per_carbon: float = 0.0176
) -> float:
    """Return lambda by the Brettschneider formula (1979, from memory), petrol unless told."""
    water_shift = 3.5 / (3.5 + gas.co_percent / gas.co2_percent)
    burnt = gas.co2_percent + gas.co_percent
    oxygen = (
        gas.co2_percent
        + gas.co_percent / 2
        + gas.o2_percent
        + gas.no_percent / 2
        + (hydrogen_per_carbon / 4 * water_shift - oxygen_per_carbon / 2) * burnt
    )
    needed = (1 + hydrogen_per_carbon / 4 - oxygen_per_carbon / 2) * (burnt + 6 * gas.hc_percent)
    return oxygen / needed


def _swept_air_g_s(
    *, pressure: AbsolutePressure, air_degc: float, displacement_l: float, speed_rpm: float
) -> float:
    density_kg_m3 = pressure.kpa * 1000 / (_AIR_J_KG_K * (air_degc + _KELVIN))
    # One litre of air at one kg/m3 is one gram; four strokes fill once in two turns.
    return density_kg_m3 * displacement_l * speed_rpm / 120


def expected_air_flow_g_s(
    *,
    volumetric_efficiency: float,
    pressure: AbsolutePressure,
    air_degc: float,
    displacement_l: float,
    speed_rpm: float,
) -> float:
    """Return the air that an engine should draw (speed-density)."""
    return volumetric_efficiency * _swept_air_g_s(
        pressure=pressure, air_degc=air_degc, displacement_l=displacement_l, speed_rpm=speed_rpm
    )


def volumetric_efficiency(
    *,
    air_flow_g_s: float,
    pressure: AbsolutePressure,
    air_degc: float,
    displacement_l: float,
    speed_rpm: float,
) -> float:
    """Return measured air flow against the swept air."""
    return air_flow_g_s / _swept_air_g_s(
        pressure=pressure, air_degc=air_degc, displacement_l=displacement_l, speed_rpm=speed_rpm
    )


def idle_air_per_litre_g_s_l(*, air_flow_g_s: float, displacement_l: float) -> float:
    """Return idle air flow per litre of displacement."""
    return air_flow_g_s / displacement_l


def manifold_absolute_kpa(*, barometer: AbsolutePressure, vacuum_kpa: float) -> float:
    """Return barometer less the vacuum gauge."""
    return absolute_from_gauge(GaugePressure(-vacuum_kpa), barometer=barometer).kpa


def injector_pressure_difference_kpa(
    *, rail: GaugePressure, manifold: AbsolutePressure, barometer: AbsolutePressure
) -> float:
    """Return the pressure across a port injector."""
    return absolute_from_gauge(rail, barometer=barometer).kpa - manifold.kpa


def injector_duty_percent(*, pulse_ms: float, speed_rpm: float) -> float:
    """Return the injector's open share of a four-stroke cycle."""
    return pulse_ms * speed_rpm / 1200


def injector_balance_percent(*, drops_kpa: tuple[float, ...], which: int) -> float:
    """Return how far drop number ``which`` (from 1) is from the mean."""
    mean = sum(drops_kpa) / len(drops_kpa)
    return (drops_kpa[which - 1] - mean) / mean * 100


def stoichiometric_of_alcohol(*, alcohol_percent: float) -> float:
    """Return air per fuel by mass of petrol with that share of ethanol by volume."""
    (a0, r0), (a1, r1), (a2, r2) = _STOICH_BY_ALCOHOL
    if alcohol_percent <= a1:
        return r0 + (alcohol_percent - a0) / (a1 - a0) * (r1 - r0)
    return r1 + (alcohol_percent - a1) / (a2 - a1) * (r2 - r1)


def expected_fuel_flow_g_s(
    *, air_flow_g_s: float, lambda_ratio: float, stoichiometric: float
) -> float:
    """Return the fuel that goes with an air flow."""
    return air_flow_g_s / (lambda_ratio * stoichiometric)


def petrol_l_h(*, fuel_flow_g_s: float, density_kg_l: float = 0.745) -> float:
    """Return a fuel flow in litres an hour; density from memory."""
    return fuel_flow_g_s * 3.6 / density_kg_l


def misfire_percent(*, count: float, cylinders: int, revolutions: int = 200) -> float:
    """Return misfires against the firings of a four-stroke engine in that many turns."""
    return count / (cylinders * revolutions / 2) * 100


def catalyst_temp_rise_k(*, in_degc: float, out_degc: float) -> float:
    """Return how far the exhaust warms up in the catalyst."""
    return out_degc - in_degc


def compression_spread_percent(*, cylinders_kpa: tuple[float, ...]) -> float:
    """Return the gap between best and worst cylinder against the best."""
    best = max(cylinders_kpa)
    return (best - min(cylinders_kpa)) / best * 100


def compression_at_altitude_kpa(*, sea_level: GaugePressure, altitude_m: float) -> float:
    """Return what a compression gauge should show up there, of the same healthy engine."""
    return sea_level.kpa * standard_atmosphere(altitude_m).kpa / standard_atmosphere(0.0).kpa


def leakdown_percent(*, supply_kpa: float, cylinder_kpa: float) -> float:
    """Return the share of the supplied pressure that a cylinder loses."""
    return (supply_kpa - cylinder_kpa) / supply_kpa * 100


def relative_compression_percent(*, peaks_a: tuple[float, ...], which: int) -> float:
    """Return cranking current peak number ``which`` (from 1) against the highest."""
    return peaks_a[which - 1] / max(peaks_a) * 100


def oil_pressure_per_1000_psi(*, pressure_psi: float, speed_rpm: float) -> float:
    """Return oil pressure per 1,000 rpm."""
    return pressure_psi / (speed_rpm / 1000)
