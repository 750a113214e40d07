"""Fit the enthalpy of two refrigerants against CoolProp, and print the coefficients.

``python tests/sources/fit_enthalpy.py`` prints what stands in ``kb/case/enthalpy.py``, with the
worst errors on the grid. CoolProp's own reference state is left alone (it is one for the whole
process): the enthalpies are shifted so that saturated liquid at 0 degC has 200 kJ/kg (IIR).
"""

import numpy as np
from CoolProp.CoolProp import PropsSI
from numpy.typing import NDArray

Floats = NDArray[np.float64]

# Name at CoolProp, and the range of saturation temperatures in degC.
FLUIDS = {"R-134a": ("R134a", -40.0, 95.0), "R-1234yf": ("R1234yf", -40.0, 90.0)}
# Saturation temperatures and superheats at which vapour is fitted, in degC and K.
VAPOUR = (-35.0, 75.0)
SUPERHEAT = (1.0, 60.0)
_POWERS = (0.0, 1 / 3, 2 / 3, 1.0, 2.0)
_KELVIN = 273.15


def shift_kj_kg(fluid: str) -> float:
    """Return what is added to CoolProp's enthalpy so that the reference state is the IIR's."""
    return 200.0 - float(PropsSI("H", "T", _KELVIN, "Q", 0, fluid)) / 1000


def fit_saturated(name: str, quality: int) -> tuple[tuple[float, ...], float]:
    """Return five coefficients and the worst error in kJ/kg; quality 0 is liquid, 1 vapour."""
    fluid, low, high = FLUIDS[name]
    kelvin = np.linspace(low, high, 541) + _KELVIN
    shift = shift_kj_kg(fluid)
    wanted = np.array([PropsSI("H", "T", t, "Q", quality, fluid) / 1000 + shift for t in kelvin])
    tau = 1 - kelvin / PropsSI("Tcrit", fluid)
    terms = np.stack([tau**power for power in _POWERS], axis=1)
    return _solved(terms, wanted)


def fit_superheated(name: str) -> tuple[tuple[float, ...], float]:
    """Return five coefficients of the mean heat capacity, and the worst error in kJ/kg."""
    fluid = FLUIDS[name][0]
    critical_k = PropsSI("Tcrit", fluid)
    rows, wanted = [], []
    for boiling in np.linspace(*VAPOUR, 45) + _KELVIN:
        pressure = PropsSI("P", "T", boiling, "Q", 1, fluid)
        edge = PropsSI("H", "T", boiling, "Q", 1, fluid)
        tau = 1 - boiling / critical_k
        for warmer in np.linspace(*SUPERHEAT, 30):
            parts = (1.0, tau**-0.5, tau, 1 / (tau + warmer / 300), warmer)
            rows.append([part * warmer for part in parts])
            wanted.append((PropsSI("H", "T", boiling + warmer, "P", pressure, fluid) - edge) / 1000)
    return _solved(np.array(rows), np.array(wanted))


def _solved(terms: Floats, wanted: Floats) -> tuple[tuple[float, ...], float]:
    found = np.linalg.lstsq(terms, wanted, rcond=None)[0]
    return tuple(float(a) for a in found), float(np.abs(terms @ found - wanted).max())


if __name__ == "__main__":
    for fluid in FLUIDS:
        made = {
            "liquid": fit_saturated(fluid, 0),
            "vapour": fit_saturated(fluid, 1),
            "heat": fit_superheated(fluid),
        }
        for part, (terms, worst) in made.items():
            numbers = ", ".join(f"{a:.6f}" for a in terms)
            print(f"{fluid} {part}: ({numbers}), worst {worst:.3f} kJ/kg")
