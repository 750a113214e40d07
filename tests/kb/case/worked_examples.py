"""The trade's worked examples, and short ways to write reading sets for them."""

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

from kb.case.casefile import make_reading
from kb.case.derived import DerivedReading, derive
from kb.case.model import ReadingSet, Vehicle
from kb.case.pressure import AbsolutePressure, GaugePressure
from kb.case.terms import load_vocabulary
from kb.case.units import convert

SOURCES = Path(__file__).parents[2] / "sources"
ROWS: list[dict[str, Any]] = tomllib.loads((SOURCES / "derived.toml").read_text(encoding="utf-8"))[
    "derived"
]
VECTORS = tomllib.loads((SOURCES / "testvectors.toml").read_text(encoding="utf-8"))
WORDS = load_vocabulary()
COLD = Vehicle(refrigerant="R-134a")

Formulas = dict[str, Callable[[dict[str, Any]], float]]
# Rows of the set, its state, key, position, value, tolerance, sources.
Example = tuple[tuple[str, ...], tuple[str, ...], str, str | None, float, float, tuple[str, ...]]

# Written as a whole number in the example although the result is not one.
WHOLE = {
    "compression_altitude",
    "soc_from_ocv",
    "thermistor_resistance",
    "brake_imbalance",
    "isolation_per_volt",
    "gear_slip",
}
# What the models here differ from those behind the examples, beside rounding: the saturation
# equation by up to 0.016 K or 0.015 % of pressure (see kb.case.refrigerant), and Magnus' vapour
# pressure by up to 0.3 %.
MODEL_ERROR = {
    "saturation_temp": 0.016,
    "evaporator_superheat": 0.016,
    "condenser_subcooling": 0.016,
    "condensing_over_ambient": 0.016,
    "static_over_saturation": 0.10,
    "cooling_capacity_air": 0.003 * 5.36,
}


def tolerance(row: dict[str, Any]) -> float:
    decimals = 0 if row["key"] in WHOLE else len(str(row["expect"]).partition(".")[2])
    return 0.5001 * 10.0**-decimals + MODEL_ERROR.get(row["key"], 0.0)


def rows_of(formulas: Formulas) -> list[dict[str, Any]]:
    """Return the worked examples of these formulas."""
    return [row for row in ROWS if row["key"] in formulas]


def degc(degf: float) -> float:
    """Return a temperature typed in degF."""
    return convert(degf, "degF", "degC")


def gauge(psi: float) -> GaugePressure:
    """Return a gauge reading typed in psi."""
    return GaugePressure(convert(psi, "psi", "kPa"))


def absolute(kpa: float) -> AbsolutePressure:
    """Return an absolute pressure."""
    return AbsolutePressure(kpa)


def set_of(*rows: str, state: tuple[str, ...] = ()) -> ReadingSet:
    """Each row is ``quantity value unit``, then ``@ position`` where there is one."""
    readings = []
    for row in rows:
        what, _, position = row.partition(" @ ")
        quantity, typed, unit = what.split()
        readings.append(make_reading(WORDS, quantity, typed, unit=unit, position=position or None))
    return ReadingSet(readings=tuple(readings), state=state)


def derived(
    *rows: str,
    state: tuple[str, ...] = (),
    vehicle: Vehicle = COLD,
    altitude_m: float = 0.0,
) -> dict[tuple[str, str | None], DerivedReading]:
    """Return the derived readings of such a set by key and position."""
    made = derive(set_of(*rows, state=state), vehicle=vehicle, altitude_m=altitude_m)
    return {(row.key, row.position): row for row in made}


def assert_given(example: Example) -> None:
    """Check value, unit and named readings of an example."""
    rows, state, key, position, value, allowed, sources = example
    row = derived(*rows, state=state)[key, position]
    assert abs(row.value - value) <= allowed, f"expected {value}, got {row.value}"
    assert row.sources == sources
    assert row.unit == WORDS.derived[key].unit


def assert_nothing_made_up(example: Example, *, optional: tuple[str, ...] = ()) -> None:
    """Check that without any one of its readings the row is not there."""
    rows, state, key, position, *_ = example
    needed = [row for row in rows if not row.startswith(optional)] if optional else list(rows)
    assert needed
    for left_out in needed:
        kept = (row for row in rows if row != left_out)
        assert (key, position) not in derived(*kept, state=state), left_out
