"""Formulas of driveline, brakes, tyres and wheel angles; units stand in the names.

Each function is one row of ``kb/vocabulary/derived.toml``.
"""

import math
import re

from kb.case.pressure import AbsolutePressure, GaugePressure, absolute_from_gauge
from kb.errors import ParseError

_KELVIN = 273.15
_SIZE = re.compile(r"(?:P|LT)?(\d{3})/(\d{2})\s*Z?R\s*(\d{2})", re.IGNORECASE)


def gear_slip_rpm(*, input_rpm: float, output_rpm: float, ratio: float) -> float:
    """Return clutch or band slip against the commanded gear."""
    return input_rpm - output_rpm * ratio


def converter_slip_rpm(*, engine_rpm: float, turbine_rpm: float) -> float:
    """Return slip over the torque converter."""
    return engine_rpm - turbine_rpm


def tyre_diameter_mm(*, size: str) -> float:
    """Return the unloaded diameter of a tyre by its size, like ``225/55R17``.

    Raises
    ------
    ParseError
        If the size is not written so.
    """
    match = _SIZE.fullmatch(size.strip())
    if match is None:
        raise ParseError(
            f"expected a tyre size like 225/55R17, got '{size[:40]}'; read it off the side wall",
            text=size,
        )
    width_mm, aspect_percent, rim_in = (float(part) for part in match.groups())
    return rim_in * 25.4 + 2 * width_mm * aspect_percent / 100


def tyre_order_hz(*, speed_km_h: float, diameter_mm: float) -> float:
    """Return once-per-turn frequency of a wheel."""
    return speed_km_h / 3.6 / (math.pi * diameter_mm / 1000)


def wheel_speed_difference_percent(*, speeds_km_h: tuple[float, ...]) -> float:
    """Return fastest less slowest wheel against their mean."""
    mean = sum(speeds_km_h) / len(speeds_km_h)
    return (max(speeds_km_h) - min(speeds_km_h)) / mean * 100


def tyre_pressure_at_kpa(
    *, cold: GaugePressure, from_degc: float, to_degc: float, barometer: AbsolutePressure
) -> float:
    """Return the gauge pressure of a tyre at another temperature (ideal gas)."""
    start = absolute_from_gauge(cold, barometer=barometer)
    return start.kpa * (to_degc + _KELVIN) / (from_degc + _KELVIN) - barometer.kpa


def rotor_thickness_variation_mm(*, points_mm: tuple[float, ...]) -> float:
    """Return thickest less thinnest point at one radius; 8 points or more."""
    return max(points_mm) - min(points_mm)


def brake_imbalance_percent(*, left_kn: float, right_kn: float) -> float:
    """Return the gap between both sides' brake force against the larger."""
    larger = max(left_kn, right_kn)
    return (larger - min(left_kn, right_kn)) / larger * 100


def cross_angle_deg(*, left_deg: float, right_deg: float) -> float:
    """Return cross camber or cross caster: left less right."""
    return left_deg - right_deg


def toe_deg(*, toe_mm: float, diameter_mm: float) -> float:
    """Return toe as an angle; without the diameter of measuring there is none."""
    return math.degrees(math.asin(toe_mm / diameter_mm))


def thrust_angle_deg(*, rear_left_deg: float, rear_right_deg: float) -> float:
    """Return half the difference of the rear wheels' toe."""
    return (rear_left_deg - rear_right_deg) / 2
