"""Fit the four coefficients of the saturation equation against CoolProp, and print them.

``python tests/sources/fit_saturation.py`` prints one line per fluid, ready to be pasted into
``kb/case/refrigerant.py``, with the worst error on the grid. The coefficients minimise the largest
relative error of the pressure (iteratively re-weighted least squares), so that the figure in the
docstring is close to the best that four terms can do.
"""

import numpy as np
from CoolProp.CoolProp import PropsSI

FLUIDS = {
    "R-134a": ("R134a", -40.0, 90.0),
    "R-1234yf": ("R1234yf", -40.0, 90.0),
    "R-744": ("CO2", -40.0, 30.0),
    "water": ("Water", 60.0, 150.0),
}
_POWERS = (1.0, 1.5, 2.5, 5.0)


def fit(name: str) -> tuple[float, float, tuple[float, ...], float]:
    """Return critical temperature (K), critical pressure (kPa), coefficients, worst error (1)."""
    fluid, low_degc, high_degc = FLUIDS[name]
    critical_k = PropsSI("Tcrit", fluid)
    critical_kpa = PropsSI("pcrit", fluid) / 1000
    kelvin = np.linspace(low_degc, high_degc, 521) + 273.15
    kpa = np.array([PropsSI("P", "T", t, "Q", 1, fluid) / 1000 for t in kelvin])
    tau = 1 - kelvin / critical_k
    terms = np.stack([tau**power for power in _POWERS], axis=1) * (critical_k / kelvin)[:, None]
    wanted = np.log(kpa / critical_kpa)
    weights = np.full(kelvin.size, 1 / kelvin.size)
    best, best_error = np.zeros(4), np.inf
    # Lawson's algorithm: weights move to where the error is largest.
    for _ in range(400):
        root = np.sqrt(weights)[:, None]
        found = np.linalg.lstsq(terms * root, wanted * root[:, 0], rcond=None)[0]
        errors = np.abs(terms @ found - wanted)
        if errors.max() < best_error:
            best, best_error = found, float(errors.max())
        weights = weights * errors
        weights /= weights.sum()
    return critical_k, critical_kpa, tuple(float(a) for a in best), best_error


if __name__ == "__main__":
    for fluid in FLUIDS:
        tc, pc, terms, worst = fit(fluid)
        numbers = ", ".join(f"{a:.6f}" for a in terms)
        print(f"{fluid}: {tc:.4f} K, {pc:.3f} kPa, ({numbers}), worst {worst:.4%} of pressure")
