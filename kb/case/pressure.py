"""Gauge and absolute pressure, kept apart by type, and the standard atmosphere between them.

A gauge reads zero in free air; a saturation table starts at vacuum. Mixing the two is the
commonest error of the trade, so that nothing here takes a bare number where it matters.
"""

from dataclasses import dataclass

from kb.errors import KBError, UnitError

SEA_LEVEL_KPA = 101.325
_LOWEST_M, _HIGHEST_M = -500.0, 11000.0


@dataclass(frozen=True, slots=True)
class GaugePressure:
    """Pressure above the surrounding air, in kPa; negative is vacuum."""

    kpa: float


@dataclass(frozen=True, slots=True)
class AbsolutePressure:
    """Pressure above nothing at all, in kPa."""

    kpa: float


def require_gauge(pressure: object) -> GaugePressure:
    """Return ``pressure`` if it is a gauge pressure.

    Raises
    ------
    UnitError
        If it is anything else, an absolute pressure above all.
    """
    if isinstance(pressure, GaugePressure):
        return pressure
    raise UnitError(
        f"expected a GaugePressure, got {type(pressure).__name__}; "
        "convert with gauge_from_absolute and a barometer or an altitude"
    )


def require_absolute(pressure: object) -> AbsolutePressure:
    """Return ``pressure`` if it is an absolute pressure.

    Raises
    ------
    UnitError
        If it is anything else, a gauge pressure above all.
    """
    if isinstance(pressure, AbsolutePressure):
        return pressure
    raise UnitError(
        f"expected an AbsolutePressure, got {type(pressure).__name__}; "
        "convert with absolute_from_gauge and a barometer or an altitude"
    )


def standard_atmosphere(altitude_m: float) -> AbsolutePressure:
    """Return the pressure of the standard atmosphere.

    Source: ISO 2533 formula for the lowest layer, constants from memory.

    Raises
    ------
    KBError
        If the altitude lies outside the lowest layer.
    """
    if not _LOWEST_M <= altitude_m <= _HIGHEST_M:
        raise KBError(
            f"expected an altitude from {_LOWEST_M:g} to {_HIGHEST_M:g} m, got {altitude_m:g}; "
            "check the unit, or give a barometer reading"
        )
    return AbsolutePressure(SEA_LEVEL_KPA * (1 - 2.25577e-5 * altitude_m) ** 5.25588)


def absolute_from_gauge(
    pressure: GaugePressure, *, barometer: AbsolutePressure
) -> AbsolutePressure:
    """Return the absolute pressure of a gauge reading under that barometer.

    Without a barometer, pass ``standard_atmosphere(altitude_m)``.

    Raises
    ------
    UnitError
        If either pressure is of the other type.
    KBError
        If the result would lie below a perfect vacuum.
    """
    kpa = require_gauge(pressure).kpa + require_absolute(barometer).kpa
    if kpa < 0:
        raise KBError(
            f"expected a gauge reading above a perfect vacuum, got {pressure.kpa:g} kPa under a "
            f"barometer of {barometer.kpa:g} kPa; check the gauge and the unit"
        )
    return AbsolutePressure(kpa)


def gauge_from_absolute(
    pressure: AbsolutePressure, *, barometer: AbsolutePressure
) -> GaugePressure:
    """Return what a gauge would show of an absolute pressure under that barometer.

    Raises
    ------
    UnitError
        If either pressure is not absolute.
    """
    return GaugePressure(require_absolute(pressure).kpa - require_absolute(barometer).kpa)
