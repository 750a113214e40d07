"""Formulas of air, air conditioning and cooling; temperatures in degC, differences in kelvin.

Each function is one row of ``kb/vocabulary/derived.toml``. Pressures come as types, never as bare
numbers, because a saturation table needs the absolute one.
"""

import math

from kb.case.pressure import (
    SEA_LEVEL_KPA,
    AbsolutePressure,
    GaugePressure,
    absolute_from_gauge,
    standard_atmosphere,
)
from kb.case.refrigerant import saturation_pressure, saturation_temp_degc
from kb.errors import KBError

_KELVIN = 273.15
# Magnus constants over water, from memory; the tests hold them against tabulated dew points.
_MAGNUS_A, _MAGNUS_B_DEGC, _MAGNUS_0_KPA = 17.62, 243.12, 0.6112
_DRY_AIR_J_KG_K, _VAPOUR_J_KG_K = 287.05, 461.5
_STANDARD_DENSITY = 1.225
_SEA_LEVEL = AbsolutePressure(SEA_LEVEL_KPA)


def atm_pressure_at_altitude_kpa(*, altitude_m: float) -> float:
    """Return the standard atmosphere's pressure at an altitude."""
    return standard_atmosphere(altitude_m).kpa


def absolute_pressure_kpa(*, gauge: GaugePressure, barometer: AbsolutePressure) -> float:
    """Return gauge plus barometer."""
    return absolute_from_gauge(gauge, barometer=barometer).kpa


def saturation_temp_of_gauge_degc(
    refrigerant: str, *, gauge: GaugePressure, barometer: AbsolutePressure = _SEA_LEVEL
) -> float:
    """Return the saturation temperature under a gauge reading."""
    return saturation_temp_degc(refrigerant, absolute_from_gauge(gauge, barometer=barometer))


def evaporator_superheat_k(
    refrigerant: str,
    *,
    low_side: GaugePressure,
    pipe_degc: float,
    barometer: AbsolutePressure = _SEA_LEVEL,
) -> float:
    """Return how far the pipe at the evaporator's outlet is above saturation."""
    return pipe_degc - saturation_temp_of_gauge_degc(
        refrigerant, gauge=low_side, barometer=barometer
    )


def condenser_subcooling_k(
    refrigerant: str,
    *,
    high_side: GaugePressure,
    pipe_degc: float,
    barometer: AbsolutePressure = _SEA_LEVEL,
) -> float:
    """Return how far the liquid pipe at the condenser's outlet is below saturation."""
    boiling = saturation_temp_of_gauge_degc(refrigerant, gauge=high_side, barometer=barometer)
    return boiling - pipe_degc


def compression_ratio(
    *, high_side: GaugePressure, low_side: GaugePressure, barometer: AbsolutePressure
) -> float:
    """Return absolute high over absolute low, never gauge over gauge."""
    high = absolute_from_gauge(high_side, barometer=barometer)
    return high.kpa / absolute_from_gauge(low_side, barometer=barometer).kpa


def condensing_over_ambient_k(
    refrigerant: str,
    *,
    high_side: GaugePressure,
    ambient_degc: float,
    barometer: AbsolutePressure = _SEA_LEVEL,
) -> float:
    """Return how far the condensing temperature is above the air at the condenser."""
    boiling = saturation_temp_of_gauge_degc(refrigerant, gauge=high_side, barometer=barometer)
    return boiling - ambient_degc


def static_over_saturation_kpa(
    refrigerant: str,
    *,
    static: GaugePressure,
    soak_degc: float,
    barometer: AbsolutePressure = _SEA_LEVEL,
) -> float:
    """Return static pressure less the saturation pressure at the parts' temperature."""
    measured = absolute_from_gauge(static, barometer=barometer)
    return measured.kpa - saturation_pressure(refrigerant, soak_degc).kpa


def vent_over_ambient_k(*, vent_degc: float, ambient_degc: float) -> float:
    """Return vent less ambient at full cold; positive means that heat is added."""
    return vent_degc - ambient_degc


def evaporator_air_drop_k(*, air_in_degc: float, air_out_degc: float) -> float:
    """Return the air's temperature drop over the evaporator."""
    return air_in_degc - air_out_degc


def reheat_after_evaporator_k(*, vent_degc: float, evap_out_degc: float) -> float:
    """Return how far the air warms up between evaporator and vent."""
    return vent_degc - evap_out_degc


def door_leak_fraction(*, vent_degc: float, evap_out_degc: float, heater_out_degc: float) -> float:
    """Return the share of the air that passes the heater core, by mixing."""
    return (vent_degc - evap_out_degc) / (heater_out_degc - evap_out_degc)


def charge_percent(*, recovered_kg: float, label_kg: float) -> float:
    """Return the recovered charge against the label."""
    return recovered_kg / label_kg * 100


def vapour_pressure_kpa(*, air_degc: float, humidity_percent: float) -> float:
    """Return the pressure of the water vapour in air (Magnus form)."""
    power = _MAGNUS_A * air_degc / (_MAGNUS_B_DEGC + air_degc)
    return humidity_percent / 100 * _MAGNUS_0_KPA * math.exp(power)


def dew_point_degc(*, air_degc: float, humidity_percent: float) -> float:
    """Return the temperature at which the air's water condenses (Magnus form).

    Raises
    ------
    KBError
        If the humidity is not above 0 and at most 100 percent.
    """
    if not 0 < humidity_percent <= 100:
        raise KBError(
            f"expected a humidity above 0 and up to 100 percent, got {humidity_percent:g}; "
            "read the hygrometer again"
        )
    gain = math.log(humidity_percent / 100) + _MAGNUS_A * air_degc / (_MAGNUS_B_DEGC + air_degc)
    return _MAGNUS_B_DEGC * gain / (_MAGNUS_A - gain)


def evaporator_below_dew_k(*, dew_degc: float, evap_out_degc: float) -> float:
    """Return how far the evaporator's outlet air is below the dew point."""
    return dew_degc - evap_out_degc


def _enthalpy_kj_kg(degc: float, water_per_air: float) -> float:
    return 1.006 * degc + water_per_air * (2501 + 1.86 * degc)


def _water_per_air(degc: float, humidity_percent: float, barometer: AbsolutePressure) -> float:
    vapour = vapour_pressure_kpa(air_degc=degc, humidity_percent=humidity_percent)
    return 0.621945 * vapour / (barometer.kpa - vapour)


def cooling_capacity_air_kw(
    *,
    flow_m3_per_h: float,
    in_degc: float,
    in_percent: float,
    out_degc: float,
    out_percent: float,
    barometer: AbsolutePressure = _SEA_LEVEL,
) -> float:
    """Return the heat taken from the air; the flow is measured at the inlet."""
    vapour = vapour_pressure_kpa(air_degc=in_degc, humidity_percent=in_percent)
    density = (barometer.kpa - vapour) * 1000 / (_DRY_AIR_J_KG_K * (in_degc + _KELVIN))
    before = _enthalpy_kj_kg(in_degc, _water_per_air(in_degc, in_percent, barometer))
    after = _enthalpy_kj_kg(out_degc, _water_per_air(out_degc, out_percent, barometer))
    return flow_m3_per_h / 3600 * density * (before - after)


def air_density_ratio(
    *, barometer: AbsolutePressure, air_degc: float, humidity_percent: float
) -> float:
    """Return the density of moist air relative to 1.225 kg/m3 (15 degC, sea level, dry)."""
    vapour = vapour_pressure_kpa(air_degc=air_degc, humidity_percent=humidity_percent)
    kelvin = air_degc + _KELVIN
    dry = (barometer.kpa - vapour) * 1000 / (_DRY_AIR_J_KG_K * kelvin)
    return (dry + vapour * 1000 / (_VAPOUR_J_KG_K * kelvin)) / _STANDARD_DENSITY


def power_correction(*, dry_kpa: float, air_degc: float) -> float:
    """Return the power correction factor (SAE J1349 form, from memory)."""
    return 1.180 * (99.0 / dry_kpa) * math.sqrt((air_degc + 273) / 298) - 0.18


def heater_core_drop_k(*, in_degc: float, out_degc: float) -> float:
    """Return the drop between the heater hoses."""
    return in_degc - out_degc


def coolant_below_rating_k(*, rating_degc: float, coolant_degc: float) -> float:
    """Return how far the coolant settles below the thermostat's rating."""
    return rating_degc - coolant_degc


def coolant_boil_margin_k(
    *, cap: GaugePressure, coolant_degc: float, barometer: AbsolutePressure = _SEA_LEVEL
) -> float:
    """Return how far the coolant is from boiling; pure water is the safe lower bound."""
    boiling = saturation_temp_degc("water", absolute_from_gauge(cap, barometer=barometer))
    return boiling - coolant_degc


def cold_soak_spread_k(*, sensors_degc: tuple[float, ...]) -> float:
    """Return how far the temperature sensors disagree after a cold soak."""
    return max(sensors_degc) - min(sensors_degc)


def radiator_drop_k(*, in_degc: float, out_degc: float) -> float:
    """Return the coolant's drop over the radiator."""
    return in_degc - out_degc
