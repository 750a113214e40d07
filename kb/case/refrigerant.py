"""Saturation of refrigerants, and of water, by an equation with four fitted terms.

The equation is ``ln(p/pc) = (Tc/T) (a1 t + a2 t^1.5 + a3 t^2.5 + a4 t^5)``, ``t = 1 - T/Tc``, of
the form that Wagner gave vapour pressures. The coefficients come from
``tests/sources/fit_saturation.py``, which fits them to CoolProp 8.0.0 (vapour side; the fluids are
pure, so that bubble and dew point agree to CoolProp's own rounding). Worst error against CoolProp
on a grid of 0.25 K, held by a test:

=========  ===============  =============  ===============
fluid      range            of pressure    of temperature
=========  ===============  =============  ===============
R-134a     -40 to 90 degC   0.015 %        0.007 K
R-1234yf   -40 to 90 degC   0.032 %        0.016 K
R-744      -40 to 30 degC   0.004 %        0.002 K
water      60 to 150 degC   0.001 %        0.001 K
=========  ===============  =============  ===============

Beyond the range the equation runs on: down to -50 degC (water 40 degC), up to just below the
critical point, within 0.16 % of pressure (water 0.03 %).
"""

import math
import re
from dataclasses import dataclass
from typing import Final

from kb.case.pressure import AbsolutePressure, require_absolute
from kb.errors import KBError

_KELVIN = 273.15


@dataclass(frozen=True, slots=True, kw_only=True)
class Fluid:
    """A pure fluid: its critical point, its four terms, the coldest point that is answered."""

    name: str
    critical_k: float
    critical_kpa: float
    terms: tuple[float, float, float, float]
    lowest_degc: float = -50.0


FLUIDS: Final[dict[str, Fluid]] = {
    fluid.name: fluid
    for fluid in (
        Fluid(
            name="R-134a",
            critical_k=374.2120,
            critical_kpa=4059.276,
            terms=(-7.650648, 1.808890, -2.703550, -3.046954),
        ),
        Fluid(
            name="R-1234yf",
            critical_k=367.8500,
            critical_kpa=3384.374,
            terms=(-7.441223, 1.843799, -2.486041, -2.267278),
        ),
        Fluid(
            name="R-744",
            critical_k=304.1282,
            critical_kpa=7377.298,
            terms=(-7.031223, 1.552506, -2.346912, -1.255345),
        ),
        Fluid(
            name="water",
            critical_k=647.0960,
            critical_kpa=22064.000,
            terms=(-7.953434, 2.115326, -2.508282, -1.980290),
            lowest_degc=40.0,
        ),
    )
}
# Written forms once spaces, dashes and dots are gone.
_SPELLINGS: Final = {
    "r134a": "R-134a",
    "134a": "R-134a",
    "hfc134a": "R-134a",
    "r1234yf": "R-1234yf",
    "1234yf": "R-1234yf",
    "hfo1234yf": "R-1234yf",
    "r744": "R-744",
    "co2": "R-744",
}


def refrigerant_name(text: str | None) -> str | None:
    """Return the one spelling of a refrigerant, or None where it is not known.

    Examples
    --------
    >>> refrigerant_name("r134A")
    'R-134a'
    """
    return _SPELLINGS.get(re.sub(r"[\s._-]", "", text or "").lower())


def _fluid(name: str) -> Fluid:
    try:
        return FLUIDS[refrigerant_name(name) or name]
    except KeyError:
        raise KBError(
            f"expected a fluid out of {', '.join(FLUIDS)}, got '{name}'; "
            "read the label under the bonnet, or identify the refrigerant"
        ) from None


def _log_ratio(fluid: Fluid, kelvin: float) -> tuple[float, float]:
    # ln(p/pc), and its slope against the temperature in 1/K.
    a1, a2, a3, a4 = fluid.terms
    tau = 1 - kelvin / fluid.critical_k
    root = math.sqrt(tau)
    tau_2, tau_4 = tau * tau, tau**4
    total = tau * (a1 + root * (a2 + tau * a3) + tau_4 * a4)
    slope = a1 + root * (1.5 * a2 + 2.5 * a3 * tau) + 5 * a4 * tau_2 * tau_2
    value = fluid.critical_k / kelvin * total
    return value, -value / kelvin - slope / kelvin


def saturation_pressure(name: str, temperature_degc: float) -> AbsolutePressure:
    """Return the pressure at which the fluid boils at a temperature.

    Raises
    ------
    KBError
        If the fluid is unknown, or the temperature lies outside the equation.
    """
    fluid = _fluid(name)
    kelvin = temperature_degc + _KELVIN
    if not fluid.lowest_degc <= temperature_degc or kelvin > fluid.critical_k:
        raise KBError(
            f"expected {fluid.name} from {fluid.lowest_degc:g} to "
            f"{fluid.critical_k - _KELVIN:.2f} degC (critical point), got {temperature_degc:g}; "
            "check the unit of the temperature"
        )
    return AbsolutePressure(fluid.critical_kpa * math.exp(_log_ratio(fluid, kelvin)[0]))


def saturation_temp_degc(name: str, pressure: AbsolutePressure) -> float:
    """Return the temperature at which the fluid boils under a pressure.

    Raises
    ------
    UnitError
        If the pressure is not an absolute one.
    KBError
        If the fluid is unknown, or the pressure lies above the critical point or below the
        equation.

    Examples
    --------
    >>> round(saturation_temp_degc("R-134a", AbsolutePressure(308.17)), 2)
    1.42
    """
    fluid, kpa = _fluid(name), require_absolute(pressure).kpa
    if kpa > fluid.critical_kpa:
        raise KBError(
            f"expected {fluid.name} below its critical pressure of {fluid.critical_kpa:.0f} kPa "
            f"absolute, got {kpa:.0f}; above it nothing condenses and no saturation temperature "
            "exists: check the unit and the refrigerant, or use the pressure itself"
        )
    if not kpa >= saturation_pressure(fluid.name, fluid.lowest_degc).kpa:
        raise KBError(
            f"expected {fluid.name} above its pressure at {fluid.lowest_degc:g} degC, got {kpa:g} "
            "kPa absolute, which is a vacuum; check the gauge, or find the restriction first"
        )
    return _solve(fluid, math.log(kpa / fluid.critical_kpa)) - _KELVIN


def _solve(fluid: Fluid, wanted: float) -> float:
    # Newton's steps on ln p, kept inside a bracket that shrinks; ln p rises with temperature.
    low, high = fluid.lowest_degc + _KELVIN, fluid.critical_k
    kelvin = 1 / (1 / high - wanted * (1 / low - 1 / high) / _log_ratio(fluid, low)[0])
    kelvin = min(max(kelvin, low), high)
    for _ in range(60):
        value, slope = _log_ratio(fluid, kelvin)
        if value > wanted:
            high = kelvin
        else:
            low = kelvin
        step = kelvin - (value - wanted) / slope
        nearer = step if low <= step <= high else (low + high) / 2
        if abs(nearer - kelvin) < 1e-9:
            return nearer
        kelvin = nearer
    return kelvin
