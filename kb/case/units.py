"""Units of the trade: conversion by one small table, and limits of a quantity.

Factors are exact where the definition is exact. Sources: NIST SP 811 (2008), appendix B, from
memory; every pair is held against Pint in the tests. User text never reaches Pint.
"""

import math
import re
from dataclasses import dataclass
from typing import Final

from kb.errors import LimitError, ParseError, UnitError

_INCH = 0.0254
_POUND = 0.45359237
_PSI = _POUND * 9.80665 / _INCH**2
_MILE = 1609.344
# Conventional columns: mercury of 13595.1 kg/m3, water of exactly 1000 kg/m3 (249.0889 Pa an inch).
_INHG = 13595.1 * 9.80665 * _INCH
_INH2O = 1000 * 9.80665 * _INCH
_US_GALLON = 231 * _INCH**3


@dataclass(frozen=True, slots=True, kw_only=True)
class Unit:
    """A unit: ``si = value * factor + offset``; only units of one ``kind`` convert."""

    key: str
    kind: str
    factor: float
    offset: float = 0.0


def _table(kind: str, **factors: float) -> dict[str, Unit]:
    return {key: Unit(key=key, kind=kind, factor=factor) for key, factor in factors.items()}


UNITS: Final[dict[str, Unit]] = {
    "degC": Unit(key="degC", kind="temperature", factor=1.0, offset=273.15),
    "degF": Unit(key="degF", kind="temperature", factor=5 / 9, offset=273.15 - 32 * 5 / 9),
    **_table("temperature difference", delta_degC=1.0, delta_degF=5 / 9),
    **_table(
        "pressure",
        Pa=1.0,
        kPa=1e3,
        MPa=1e6,
        bar=1e5,
        mbar=100.0,
        psi=_PSI,
        inHg=_INHG,
        inH2O=_INH2O,
    ),
    "32nds": Unit(key="32nds", kind="length", factor=_INCH / 32),
    "in": Unit(key="in", kind="length", factor=_INCH),
    **_table("length", m=1.0, mm=1e-3, ft=12 * _INCH, thou=_INCH / 1000),
    "km/h": Unit(key="km/h", kind="speed", factor=1 / 3.6),
    "m/s": Unit(key="m/s", kind="speed", factor=1.0),
    "ft/min": Unit(key="ft/min", kind="speed", factor=12 * _INCH / 60),
    **_table("speed", mph=_MILE / 3600),
    **_table("time", ms=1e-3, min=60.0, h=3600.0, day=86400.0),
    **_table("mass", g=1e-3, kg=1.0, oz=_POUND / 16, lb=_POUND),
    "g/s": Unit(key="g/s", kind="mass flow", factor=1e-3),
    "kg/h": Unit(key="kg/h", kind="mass flow", factor=1 / 3600),
    "lb/min": Unit(key="lb/min", kind="mass flow", factor=_POUND / 60),
    "L/h": Unit(key="L/h", kind="volume flow", factor=1e-3 / 3600),
    "L/min": Unit(key="L/min", kind="volume flow", factor=1e-3 / 60),
    "gal/h": Unit(key="gal/h", kind="volume flow", factor=_US_GALLON / 3600),
    **_table("voltage", V=1.0, mV=1e-3),
    **_table("current", A=1.0, mA=1e-3),
    **_table("resistance", ohm=1.0, kohm=1e3, Mohm=1e6, mohm=1e-3),
    **_table("frequency", Hz=1.0, kHz=1e3),
    **_table("rotational speed", rpm=1.0),
    **_table("angle", deg=1.0),
    **_table("share", percent=0.01, ppm=1e-6),
    "1": Unit(key="1", kind="ratio", factor=1.0),
    **_table("count", count=1.0),
}


def _unit(key: str) -> Unit:
    try:
        return UNITS[key]
    except KeyError:
        known = ", ".join(sorted(UNITS))
        raise UnitError(f"expected a unit, got '{key}'; write one of: {known}") from None


def same_kind(first: str, second: str) -> bool:
    """Say whether both are units of this table and one converts into the other."""
    return first in UNITS and second in UNITS and UNITS[first].kind == UNITS[second].kind


def convert(value: float, source: str, target: str) -> float:
    """Return ``value`` in unit ``source`` expressed in unit ``target``.

    Raises
    ------
    UnitError
        If a unit is unknown, or the two measure different things.

    Examples
    --------
    >>> round(convert(30, "psi", "kPa"), 3)
    206.843
    >>> round(convert(5, "delta_degC", "delta_degF"), 6)
    9.0
    """
    start, end = _unit(source), _unit(target)
    if start.kind != end.kind:
        raise UnitError(
            f"expected a unit of {end.kind} like {target}, got {source} ({start.kind}); "
            f"write the value in a unit of {end.kind}"
        )
    if start is end:
        return value
    return (value * start.factor + start.offset - end.offset) / end.factor


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One row of the quantity catalogue; ``hard``, ``typical``, ``same`` in ``unit``.

    ``shown`` is the unit in which the trade speaks of it, ``accepted`` those that may be typed.
    """

    key: str
    name: str
    short: tuple[str, ...]
    dimension: str
    unit: str
    shown: str
    accepted: tuple[str, ...]
    hard: tuple[float, float]
    same: float
    group: str
    typical: tuple[float, float] | None = None
    typical_when: str = ""
    same_percent: float | None = None
    positions: tuple[str, ...] = ()
    where: str = ""

    def allows(self, value: float) -> bool:
        """Say whether a value in ``unit`` lies in the hard limits, a thousandth of them past."""
        low, high = self.hard
        slack = 1e-3 * max(abs(low), abs(high))
        return low - slack <= value <= high + slack

    def likeness_tolerance(self, value: float) -> float:
        """Return the difference that a technician calls the same reading, in ``unit``."""
        share = abs(value) * (self.same_percent or 0.0) / 100
        return max(self.same, share)


def to_canonical(value: float, unit: str, quantity: Quantity) -> float:
    """Return ``value`` in the canonical unit of ``quantity``.

    Raises
    ------
    UnitError
        If the quantity is not measured in that unit.
    LimitError
        If the value lies outside the hard limits; names the likely unit mistake.
    """
    if unit not in quantity.accepted and unit != quantity.unit:
        accepted = ", ".join(quantity.accepted)
        raise UnitError(f"expected {quantity.name} in {accepted}, got {unit}; write one of them")
    canonical = convert(value, unit, quantity.unit)
    if not quantity.allows(canonical):
        raise LimitError(_limit_message(value, unit, quantity), text=f"{value:g} {unit}")
    return canonical


def _limit_message(value: float, unit: str, quantity: Quantity) -> str:
    low, high = (convert(bound, quantity.unit, quantity.shown) for bound in quantity.hard)
    message = (
        f"expected {quantity.name} from {low:g} to {high:g} {quantity.shown}, got {value:g} {unit}"
    )
    likely = likely_units(value, quantity)
    hint = f"; did you mean {' or '.join(likely)}?" if likely else "; check the number"
    return message + hint


def likely_units(value: float, quantity: Quantity) -> tuple[str, ...]:
    """Return the accepted units in which ``value`` lies inside the hard limits."""
    low, high = quantity.hard
    return tuple(
        unit for unit in quantity.accepted if low <= convert(value, unit, quantity.unit) <= high
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedValue:
    """A number, a range, or a word in place of a number, exactly as typed."""

    typed: str
    low: float | None = None
    high: float | None = None
    word: str | None = None


_NUMBER = r"[-+−]?(?:\d{1,3}(?:,\d{3})+(?:\.\d+)?|\d+(?:[.,]\d+)?|[.,]\d+)"
_VALUE = re.compile(
    rf"\s*(?P<over>[<>]=?|over|under)?\s*(?P<low>{_NUMBER})"
    rf"(?:\s*(?:-|–|to|\.\.)\s*(?P<high>{_NUMBER}))?\s*",
    re.IGNORECASE,
)
_WORDS: Final = {
    "ol": "open",
    "open": "open",
    "---": "no_reading",
    "--": "no_reading",
    "no reading": "no_reading",
    "n/a": "no_reading",
}
_MAX_TYPED = 64


def parse_number(text: str) -> float:
    """Return the number typed as ``text``; a comma may stand for the decimal point.

    ``1,200`` is twelve hundred (three digits follow), ``12,6`` is twelve and six tenths.

    Raises
    ------
    ParseError
        If the text is not a number.
    """
    cleaned = text.strip().replace("−", "-")
    if re.fullmatch(r"[-+]?\d{1,3}(?:,\d{3})+(?:\.\d+)?", cleaned):
        cleaned = cleaned.replace(",", "")
    cleaned = cleaned.replace(",", ".")
    try:
        number = float(cleaned)
    except ValueError:
        number = math.nan
    # Python reads "nan" and "1e999" too; no gauge shows them.
    if not math.isfinite(number):
        raise ParseError(f"expected a number, got '{text[:40]}'", text=text)
    return number


def _one_bound(typed: str, sign: str, *, bound: float) -> TypedValue:
    if sign[0] in ">o":
        return TypedValue(typed=typed, low=bound, word="over")
    return TypedValue(typed=typed, high=bound, word="under")


def parse_value(text: str) -> TypedValue:
    """Return the number, the range or the word that ``text`` holds.

    Raises
    ------
    ParseError
        If it is none of these.

    Examples
    --------
    >>> parse_value("13.6-13.9").high
    13.9
    >>> parse_value("OL").word
    'open'
    """
    typed = text.strip()
    if typed.lower() in _WORDS:
        return TypedValue(typed=typed, word=_WORDS[typed.lower()])
    match = _VALUE.fullmatch(typed) if len(typed) <= _MAX_TYPED else None
    if match is None:
        raise ParseError(
            f"expected a number, a range like 13.6-13.9, or OL, got '{typed[:40]}'", text=text
        )
    low = parse_number(match["low"])
    if match["over"]:
        return _one_bound(typed, match["over"].lower(), bound=low)
    high = parse_number(match["high"]) if match["high"] else low
    return TypedValue(typed=typed, low=min(low, high), high=max(low, high))


def format_value(value: float, unit: str, quantity: Quantity) -> str:
    """Return a canonical ``value`` of ``quantity`` as text in ``unit``, which parses back."""
    number = repr(convert(value, quantity.unit, unit))
    if "e" in number:
        # Nobody types powers of ten, so the grammar does not read them.
        number = f"{float(number):.15f}"
    return f"{number} {unit}"
