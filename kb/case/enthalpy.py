"""Enthalpy of R-134a and R-1234yf: saturated, superheated, subcooled, by fitted equations.

Saturated liquid and vapour: ``h = a0 + a1 t^(1/3) + a2 t^(2/3) + a3 t + a4 t^2``, ``t = 1 - T/Tc``.
Superheated vapour: ``h = h_vapour + d (b0 + b1 t^(-1/2) + b2 t + b3 / (t + d/300) + b4 d)``, where
``d`` is the superheat in kelvin and ``t`` is taken at the boiling point; the bracket is the mean
heat capacity. Subcooled liquid is taken as saturated liquid of its own temperature, whatever the
pressure. Reference state: IIR, saturated liquid at 0 degC has 200 kJ/kg.

The coefficients come from ``tests/sources/fit_enthalpy.py``, which fits them to CoolProp 8.0.0.
Worst error against CoolProp, held by a test; a dome is about 150 kJ/kg wide:

=========  ====================================  ===========  ============
what       range                                 R-134a       R-1234yf
=========  ====================================  ===========  ============
saturated  -40 to 95 degC (R-1234yf: 90 degC)    0.05 kJ/kg   0.10 kJ/kg
vapour     boiling -35 to 75 degC, up to 60 K    0.8 kJ/kg    1.0 kJ/kg
liquid     -20 to 75 degC, up to 30 K            1.5 kJ/kg    1.5 kJ/kg
=========  ====================================  ===========  ============

R-744 is left out: on a warm day its high side lies above the critical point, where there is no
liquid line to speak of.
"""

import math
from dataclasses import dataclass
from typing import Final

from kb.case.pressure import AbsolutePressure
from kb.case.refrigerant import FLUIDS, saturation_pressure, saturation_temp_degc
from kb.errors import KBError

_KELVIN = 273.15
_POWERS: Final = (0.0, 1 / 3, 2 / 3, 1.0, 2.0)
_LOWEST_DEGC = -40.0
MOST_SUPERHEAT_K: Final = 60.0
# Kelvin between the points of the dome's edge (our choice: it looks round).
_STEP_K = 5.0
# Rounding in a boiling point must not turn a saturated state away.
_ROUNDING_K = 1e-6

Terms = tuple[float, float, float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Heat:
    """The fitted terms of one fluid, and the hottest saturation that they were fitted to."""

    liquid: Terms
    vapour: Terms
    superheat: Terms
    highest_degc: float


_HEATS: Final[dict[str, Heat]] = {
    "R-134a": Heat(
        liquid=(383.129438, -44.991634, -184.270851, -293.735236, 31.072975),
        vapour=(394.248204, 75.285033, 267.954698, -602.799807, 89.599588),
        superheat=(0.623653, 0.114918, -0.558595, 0.056938, 0.001446),
        highest_degc=95.0,
    ),
    "R-1234yf": Heat(
        liquid=(364.159823, -37.639320, -149.946768, -327.084517, 70.458474),
        vapour=(375.091872, 51.726216, 270.568808, -630.187626, 124.200813),
        superheat=(0.731888, 0.090822, -0.602133, 0.046771, 0.001544),
        highest_degc=90.0,
    ),
}
WITH_ENTHALPY: Final = tuple(_HEATS)


def _tau(name: str, degc: float) -> float:
    heat = _heat(name)
    if not _LOWEST_DEGC - _ROUNDING_K <= degc <= heat.highest_degc + _ROUNDING_K:
        raise KBError(
            f"expected {name} from {_LOWEST_DEGC:g} to {heat.highest_degc:g} degC, got {degc:.1f}; "
            "check the gauge, the thermometer and their units"
        )
    return 1 - (degc + _KELVIN) / FLUIDS[name].critical_k


def _heat(name: str) -> Heat:
    try:
        return _HEATS[name]
    except KeyError:
        raise KBError(
            f"expected one of {', '.join(_HEATS)}, got '{name}'; no enthalpy is known here of others"
        ) from None


def _saturated(terms: Terms, tau: float) -> float:
    return sum(term * math.pow(tau, power) for term, power in zip(terms, _POWERS, strict=True))


def liquid_kj_kg(name: str, temperature_degc: float) -> float:
    """Return the enthalpy of liquid, saturated or subcooled, at a temperature.

    Raises
    ------
    KBError
        If the fluid has no equation here, or the temperature lies outside it.

    Examples
    --------
    >>> round(liquid_kj_kg("R-134a", 0.0), 1)
    200.0
    """
    return _saturated(_heat(name).liquid, _tau(name, temperature_degc))


def vapour_kj_kg(name: str, pressure: AbsolutePressure, temperature_degc: float) -> float:
    """Return the enthalpy of vapour under a pressure, saturated or superheated.

    Raises
    ------
    KBError
        If the fluid has no equation here, if the vapour would be colder than its boiling point,
        or is superheated by more than the equation was fitted to.
    """
    boiling = saturation_temp_degc(name, pressure)
    warmer, tau = temperature_degc - boiling, _tau(name, boiling)
    if not -_ROUNDING_K <= warmer <= MOST_SUPERHEAT_K:
        raise KBError(
            f"expected vapour of {name} up to {MOST_SUPERHEAT_K:g} K above its boiling point of "
            f"{boiling:.1f} degC, got {temperature_degc:.1f} degC; check gauge and thermometer"
        )
    b0, b1, b2, b3, b4 = _heat(name).superheat
    capacity = b0 + b1 / math.sqrt(tau) + b2 * tau + b3 / (tau + warmer / 300) + b4 * warmer
    return _saturated(_heat(name).vapour, tau) + warmer * capacity


@dataclass(frozen=True, slots=True, kw_only=True)
class Edge:
    """One level of the dome: absolute pressure, and the enthalpies where it begins and ends."""

    kpa: float
    degc: float
    liquid_kj_kg: float
    vapour_kj_kg: float


def edge_at(name: str, pressure: AbsolutePressure) -> Edge:
    """Return where boiling begins and ends under a pressure.

    Raises
    ------
    KBError
        If the fluid has no equation here, or the pressure lies outside it.
    """
    degc = saturation_temp_degc(name, pressure)
    return _edge(name, pressure, degc)


def _edge(name: str, pressure: AbsolutePressure, degc: float) -> Edge:
    tau = _tau(name, degc)
    return Edge(
        kpa=pressure.kpa,
        degc=degc,
        liquid_kj_kg=_saturated(_heat(name).liquid, tau),
        vapour_kj_kg=_saturated(_heat(name).vapour, tau),
    )


def dome(name: str, lowest_degc: float = _LOWEST_DEGC) -> tuple[Edge, ...]:
    """Return the saturation dome in even steps of temperature, coldest first.

    Raises
    ------
    KBError
        If the fluid has no equation here.
    """
    span = _heat(name).highest_degc - lowest_degc
    count = max(1, round(span / _STEP_K))
    degrees = [lowest_degc + span * step / count for step in range(count + 1)]
    return tuple(_edge(name, saturation_pressure(name, degc), degc) for degc in degrees)
