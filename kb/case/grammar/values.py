"""Numbers as typed, and which quantity and unit they can be."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from kb.case.grammar.marks import Line
from kb.case.grammar.names import Name, Names
from kb.case.units import (
    UNITS,
    Quantity,
    convert,
    likely_units,
    parse_number,
    to_canonical,
)
from kb.errors import LimitError, ParseError, UnitError

_COMPARE: Final = frozenset("<>")
_SIGNS: Final = frozenset("+-−")
_DASHES: Final = frozenset("-–")
# Unit words that are everyday words as well: they must touch the number, or end the clause.
_SHY: Final = frozenset({"a", "in", "m", "r", "g", "h", "k", "c"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Value:
    """A number, a range or a word of a meter; marks ``first`` up to ``stop``."""

    typed: str
    first: int
    stop: int
    low: float | None = None
    high: float | None = None
    signed: bool = False


def _signed_number(line: Line, index: int) -> tuple[int, bool] | None:
    # A sign belongs to the number when it touches it and no word or number touches the sign.
    mark = line.marks[index]
    if mark.kind == "number":
        # "02" is no value but how many type an oxygen sensor.
        return None if mark.raw[0] == "0" and mark.raw[1:].isdigit() else (index, False)
    if mark.raw not in _SIGNS or line.kind(index + 1) != "number" or not line.glued(index + 1):
        return None
    if line.glued(index) and line.kind(index - 1) in {"word", "number"}:
        return None
    return index + 1, True


def _range_end(line: Line, at: int) -> int | None:
    """Return the index of the second number of ``13.6-13.9`` or ``13.6 - 13.9``."""
    dash, second = at + 1, at + 2
    if line.kind(second) != "number" or line.low(dash) not in _DASHES:
        return None
    return second if line.glued(dash) or not line.glued(second) else None


def value_at(line: Line, index: int) -> Value | None:
    """Return the value that begins at mark ``index``, None where there is none."""
    if index >= len(line.marks):
        return None
    mark, start = line.marks[index], index
    if mark.kind == "blank" or mark.low == "ol":
        return Value(typed=mark.raw[:3], first=index, stop=index + 1)
    if mark.raw in _COMPARE:
        index += 2 if line.low(index + 1) == "=" else 1
        if index >= len(line.marks):
            return None
    number = _signed_number(line, index)
    if number is None:
        return None
    at, signed = number
    end = _range_end(line, at) or at
    return _value(line, start, at, end=end, signed=signed)


def _value(line: Line, start: int, at: int, *, end: int, signed: bool) -> Value | None:
    first, stop = line.span(start, end + 1)
    typed = line.text[first:stop]
    try:
        low = parse_number(
            ("-" if line.low(at - 1) in {"-", "−"} and signed else "") + line.marks[at].raw
        )
        high = parse_number(line.marks[end].raw) if end != at else low
    except ParseError:
        return None
    if len(typed) > 40:
        return None
    return Value(
        typed=typed, first=start, stop=end + 1, low=min(low, high), high=max(low, high),
        signed=signed,
    )  # fmt: skip


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedUnit:
    """The units that typed words can mean; ``trap`` holds the likely ones of a wrong case."""

    units: tuple[str, ...] = ()
    stop: int
    raw: str = ""
    trap: tuple[str, ...] = ()
    absolute: bool | None = None


def unit_at(line: Line, index: int, names: Names) -> TypedUnit:
    """Return the unit typed at mark ``index``, an empty one where there is none."""
    if index >= len(line.marks) or line.kind(index) in {"line", "arrow"}:
        return TypedUnit(stop=index)
    units, size = names.units_at(line, index)
    mark = line.marks[index]
    if mark.raw in names.traps:
        return TypedUnit(stop=index + 1, raw=mark.raw, trap=names.traps[mark.raw])
    if not size or (size == 1 and mark.low in _SHY and not _stands(line, index, names)):
        return TypedUnit(stop=index)
    stop = index + size
    first, end = line.span(index, stop)
    raw = line.text[first:end]
    absolute = _absolute(raw.lower(), line.low(stop))
    if absolute is not None and raw.lower() not in {"psia", "psig"}:
        stop += 1
    return TypedUnit(units=units, stop=stop, raw=raw, absolute=absolute)


def _stands(line: Line, index: int, names: Names) -> bool:
    if line.glued(index) or line.marks[index].raw in {"A", "C", "K", "M"}:
        return True
    if names.states.at(line, index + 1)[0]:
        return True
    # ".004 in lf" is a length at a wheel, "32 in lf" is a pressure in a tire.
    if line.low(index) == "in" and line.low(index - 1).startswith((".", "0.")):
        return True
    return index + 1 >= len(line.marks) or line.kind(index + 1) not in {"word", "number"}


def _absolute(raw: str, following: str) -> bool | None:
    if raw == "psia" or following in {"abs", "absolute"}:
        return True
    if raw == "psig" or following in {"gauge", "ga"}:
        return False
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """The quantity and unit of a value; or why it is asked back or refused."""

    name: Name | None = None
    unit: str = ""
    why: str = ""
    options: tuple[str, ...] = ()
    refused: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """What the rest of the line says about a value."""

    groups: frozenset[str] = frozenset()
    states: frozenset[str] = frozenset()
    kinds: frozenset[str] = frozenset()  # units typed elsewhere in the text


def _inside(value: float, unit: str, quantity: Quantity) -> bool:
    try:
        to_canonical(value, unit, quantity)
    except (LimitError, UnitError):
        return False
    return True


def _usual(value: float, unit: str, quantity: Quantity) -> bool:
    if quantity.typical is None:
        return False
    low, high = quantity.typical
    slack = 1e-3 * (high - low)
    return low - slack <= convert(value, unit, quantity.unit) <= high + slack


def choose_unit(value: Value, quantity: Quantity, context: Context) -> Choice:
    """Return the unit of a number typed without one.

    The unit in which the trade speaks of the quantity, if the number can be right in it and no
    other unit puts it in the usual band; else a question.
    """
    shown, number = quantity.shown, value.low
    others = [unit for unit in quantity.accepted if unit != shown]
    if number is None:
        return Choice(unit=shown)
    typed = [unit for unit in quantity.accepted if unit in context.kinds]
    if (
        len(typed) == 1
        and UNITS[shown].kind == "temperature"
        and _inside(number, typed[0], quantity)
    ):
        return Choice(unit=typed[0])
    if not _inside(number, shown, quantity):
        likely = likely_units(number, quantity)
        if likely:
            return _which_unit(quantity, likely)
        return Choice(refused=_limits(number, shown, quantity))
    if _usual(number, shown, quantity):
        others = [unit for unit in others if _larger(unit, shown)]
    # Nobody types millivolts with a decimal point (common practice, no source).
    if shown == "V" and not float(number).is_integer():
        others = []
    fitting = [unit for unit in others if _usual(number, unit, quantity)]
    return _which_unit(quantity, (shown, *fitting)) if fitting else Choice(unit=shown)


def _larger(unit: str, shown: str) -> bool:
    # A band that begins at zero holds every small number of a smaller unit; that says nothing.
    return UNITS[unit].factor > UNITS[shown].factor


def _which_unit(quantity: Quantity, units: Iterable[str]) -> Choice:
    return Choice(why=f"{quantity.name}: which unit?", options=tuple(units))


def _limits(number: float, unit: str, quantity: Quantity) -> str:
    try:
        to_canonical(number, unit, quantity)
    except (LimitError, UnitError) as error:
        return str(error)
    return ""


def check_unit(value: Value, typed: TypedUnit, quantity: Quantity) -> Choice:
    """Return the choice for a number with a typed unit."""
    if typed.trap:
        fitting = tuple(unit for unit in typed.trap if unit in quantity.accepted)
        return Choice(why=f"{typed.raw}: milli is a small m; which unit?", options=fitting)
    if typed.absolute is not None and typed.absolute == (quantity.dimension != "pressure_absolute"):
        want = "gauge" if typed.absolute else "absolute"
        return Choice(
            refused=f"expected {quantity.name} as {want} pressure, got {typed.raw}; the two differ "
            "by the pressure of the air, so write the other reading"
        )
    return _in_accepted(value, typed, quantity)


def _in_accepted(value: Value, typed: TypedUnit, quantity: Quantity) -> Choice:
    units = tuple(unit for unit in typed.units if unit in quantity.accepted)
    if not units:
        accepted = ", ".join(quantity.accepted)
        return Choice(
            refused=f"expected {quantity.name} in {accepted}, got {typed.raw}; write one of them"
        )
    if len(units) > 1:
        return _of_several(value, units, quantity)
    for number in (value.low, value.high):
        if number is not None and not _inside(number, units[0], quantity):
            return Choice(refused=_limits(number, units[0], quantity))
    return Choice(unit=units[0])


def _of_several(value: Value, units: tuple[str, ...], quantity: Quantity) -> Choice:
    # Bare degrees say no more than no unit; mohm is milli or mega.
    if UNITS[units[0]].kind == "temperature":
        return choose_unit(value, quantity, Context())
    return _which_unit(quantity, units)
