"""Formulas of the electrical side, the network and high voltage; units stand in the names.

Each function is one row of ``kb/vocabulary/derived.toml``.
"""

import math

from kb.errors import KBError

_KELVIN = 273.15
# Rested flooded battery at about 25 degC: volts, percent (handbook table, from memory).
_CHARGE_BY_VOLTS = ((11.89, 0.0), (12.06, 25.0), (12.24, 50.0), (12.45, 75.0), (12.65, 100.0))
_LOWEST_V, _HIGHEST_V = 10.5, 12.8


def cranking_drop_v(*, rest_v: float, crank_v: float) -> float:
    """Return rest less lowest cranking voltage."""
    return rest_v - crank_v


def source_resistance_mohm(*, drop_v: float, current_a: float) -> float:
    """Return the resistance of battery and cables that a load sees."""
    return drop_v / current_a * 1000


def voltage_drop_resistance_mohm(*, drop_v: float, current_a: float) -> float:
    """Return the resistance of a path from its drop and its current."""
    return drop_v / current_a * 1000


def charging_rise_v(*, running_v: float, rest_v: float) -> float:
    """Return running less rested voltage."""
    return running_v - rest_v


def ripple_percent(*, highest_v: float, lowest_v: float) -> float:
    """Return peak to peak ripple against the peak."""
    return (highest_v - lowest_v) / highest_v * 100


def bridge_ripple_percent(*, pulses: int = 6) -> float:
    """Return the ripple of an ideal bridge: 6 pulses a cycle for three phases."""
    # The output follows the tops of the waves, from the crest down to where the next takes over.
    return ripple_percent(highest_v=1.0, lowest_v=math.cos(math.pi / pulses))


def parasitic_days(*, capacity_ah: float, usable_share: float, draw_a: float) -> float:
    """Return days until the battery cannot start the engine."""
    return capacity_ah * usable_share / draw_a / 24


def fuse_current_a(*, drop_mv: float, fuse_mohm: float) -> float:
    """Return the current through a fuse; its resistance is on the maker's data sheet."""
    return drop_mv / fuse_mohm


def charge_of_rested_battery_percent(*, rested_v: float) -> float:
    """Return the state of charge of a rested, flooded 12 V battery.

    Raises
    ------
    KBError
        If the voltage cannot belong to such a battery.
    """
    if not _LOWEST_V <= rested_v <= _HIGHEST_V:
        raise KBError(
            f"expected a rested flooded battery of {_LOWEST_V} to {_HIGHEST_V} V, got "
            f"{rested_v:g}; remove the surface charge, or use the maker's table for the type"
        )
    low_v, low = _CHARGE_BY_VOLTS[0]
    if rested_v <= low_v:
        return low
    for high_v, high in _CHARGE_BY_VOLTS[1:]:
        if rested_v <= high_v:
            return low + (rested_v - low_v) / (high_v - low_v) * (high - low)
        low_v, low = high_v, high
    return low


def thermistor_ohm(
    *, at_ohm: float, at_degc: float, beta_k: float, temperature_degc: float
) -> float:
    """Return the resistance of a falling (NTC) temperature sensor by the beta equation."""
    warmer = 1 / (temperature_degc + _KELVIN) - 1 / (at_degc + _KELVIN)
    return at_ohm * math.exp(beta_k * warmer)


def signal_percent_of_reference(*, signal_v: float, reference_v: float) -> float:
    """Return a sensor's signal against its reference."""
    return signal_v / reference_v * 100


def duty_average_v(*, duty_percent: float, supply_v: float) -> float:
    """Return what a plain meter shows of a switched output."""
    return duty_percent / 100 * supply_v


def commanded_minus_actual_percent(*, commanded_percent: float, actual_percent: float) -> float:
    """Return what was asked less what was reached."""
    return commanded_percent - actual_percent


def bus_resistance_ohm(*, terminators: int, each_ohm: float = 120.0) -> float:
    """Return what a meter shows over equal terminators in parallel, power off."""
    return each_ohm / terminators


def generator_speed_rpm(*, engine_rpm: float, pulley_ratio: float) -> float:
    """Return the speed of the generator's shaft."""
    return engine_rpm * pulley_ratio


def hv_cell_spread_mv(*, highest_v: float, lowest_v: float) -> float:
    """Return highest less lowest cell."""
    return (highest_v - lowest_v) * 1000


def isolation_per_volt_ohm_v(*, isolation_ohm: float, pack_v: float) -> float:
    """Return isolation resistance per volt of the pack."""
    return isolation_ohm / pack_v
