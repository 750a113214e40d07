"""Which of several quantities a typed name means: by unit, by the line, by the usual band."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from kb.case.grammar.names import Name, Names
from kb.case.grammar.near import RIVALS
from kb.case.grammar.values import Choice, Context, TypedUnit, Value, check_unit, choose_unit
from kb.case.units import UNITS, Quantity, convert

# A 12 V system at work: no current of a generator or starter is typed as such a number.
_VOLTS: Final = (6.0, 17.0)
_GAUGES: Final = frozenset({"low_side_pressure", "high_side_pressure"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Typed:
    """A value with its unit, the state behind it, and whether it is one of a list."""

    value: Value
    unit: TypedUnit
    several: bool = False
    close: bool = True
    near: str = ""
    last: str = ""


def _fits(row: Name, typed: Typed, context: Context) -> bool:
    """Return whether the line leaves this meaning open."""
    if row.needs_unit and not typed.unit.units and not typed.unit.trap:
        return False
    return _fits_line(row, typed, context) and _fits_states(row, context)


def _fits_line(row: Name, typed: Typed, context: Context) -> bool:
    seen = context.groups & set(row.groups)
    if row.follows and typed.last not in row.follows:
        return False
    if row.units_only and typed.unit.units and not set(typed.unit.units) & set(row.units_only):
        return False
    return bool(seen) or not (row.strict or (row.groups and context.groups))


def _fits_states(row: Name, context: Context) -> bool:
    if row.only_when and not context.states & set(row.only_when):
        return False
    return not context.states & set(row.not_when)


def _judge(row: Name, typed: Typed, *, names: Names, context: Context) -> Choice:
    quantity = names.words.quantities[row.quantity]
    unit = typed.unit
    if row.unit and not (unit.units or unit.trap):
        unit = replace(unit, units=(row.unit,), raw=row.unit)
    if unit.units or unit.trap:
        choice = check_unit(typed.value, unit, quantity)
    else:
        choice = choose_unit(typed.value, quantity, context)
    return replace(choice, name=row)


def _distance(choice: Choice, value: Value, quantity: Quantity) -> float:
    """Return how far a value lies from the usual band, in widths of the band."""
    if value.low is None or quantity.typical is None:
        return 1.0
    low, high = quantity.typical
    number = convert(value.low, choice.unit, quantity.unit)
    outside = max(low - number, number - high, 0.0)
    return outside / max(high - low, 1e-9)


def _in_its_state(row: Name, names: Names, context: Context) -> bool:
    return bool(context.states & set(row.when))


def _in_its_group(row: Name, names: Names, context: Context) -> bool:
    return names.words.quantities[row.quantity].group in context.groups


def _battery_volts(named: Sequence[Name], value: Value) -> list[Name]:
    """Return the meanings as a battery's voltage of a number that looks like one: "alt 13.2"."""
    low, high = _VOLTS
    if value.low is None or not low <= value.low <= high:
        return []
    return [name for name in named if name.quantity.startswith("battery_voltage")]


def _best(rows: Sequence[Choice], typed: Typed, *, names: Names, context: Context) -> Choice:
    """Return the one meaning that stands out, else a question."""
    named = [row.name for row in rows if row.name is not None]
    for test in (_in_its_state, _in_its_group):
        kept = [name for name in named if test(name, names, context)]
        if len(kept) == 1:
            return next(row for row in rows if row.name is kept[0])
        named = kept or named
    named = _battery_volts(named, typed.value) or named
    if len(named) == 1:
        return next(row for row in rows if row.name is named[0])
    left = [row for row in rows if row.name in named]
    far = sorted(
        (_distance(row, typed.value, names.words.quantities[row.name.quantity]), at)
        for at, row in enumerate(left)
        if row.name is not None
    )
    # Twice as far from its band, or outside while the other is inside, is far enough to tell.
    if far[1][0] > 2 * far[0][0] and far[1][0] > 0.05:
        return left[far[0][1]]
    options = tuple(
        dict.fromkeys(names.words.quantities[n.quantity].name for n in named if n.quantity)
    )
    return Choice(why="which of these was read?", options=options)


def choose(rows: Sequence[Name], typed: Typed, *, names: Names, context: Context) -> Choice | None:
    """Return the meaning of a name beside a value; None where it is no reading at all."""
    context = _nearest(typed, context)
    open_rows = [row for row in rows if _fits(row, typed, context)]
    open_rows = [row for row in open_rows if row.follows] or open_rows
    asks = [row for row in open_rows if row.ask]
    meant = [row for row in open_rows if row.quantity]
    if asks and not (typed.several or typed.unit.units or _known(meant, names, context)):
        return Choice(why="which of these is meant?", options=asks[0].ask)
    judged = [_judge(row, typed, names=names, context=context) for row in meant]
    good = [choice for choice in judged if choice.unit]
    if len(good) == 1:
        return good[0]
    if good:
        return _best(good, typed, names=names, context=context)
    return _none_fits(judged, typed)


def _nearest(typed: Typed, context: Context) -> Context:
    """Return the context with the state behind the number instead of those it excludes."""
    if typed.near not in RIVALS:
        return context
    return replace(context, states=(context.states - RIVALS) | {typed.near})


def _known(rows: Sequence[Name], names: Names, context: Context) -> bool:
    return any(names.words.quantities[row.quantity].group in context.groups for row in rows)


def _none_fits(judged: Sequence[Choice], typed: Typed) -> Choice | None:
    """Return the question or the refusal of the first meaning; None for an everyday word."""
    for choice in judged:
        if choice.why:
            return choice
    for choice in judged:
        if choice.name is not None and (not choice.name.weak or (typed.close and _own(choice))):
            return choice
    return _wrong_unit(judged, typed)


def _wrong_unit(judged: Sequence[Choice], typed: Typed) -> Choice | None:
    """Return the refusal of a weak name with a unit of its own kind: a low side in inHg."""
    kinds = {UNITS[key].kind for key in typed.unit.units}
    for choice in judged:
        if choice.name is not None and kinds == {"pressure"} and _near_kind(choice):
            return choice
    return None


def _near_kind(choice: Choice) -> bool:
    return choice.name is not None and choice.name.quantity in _GAUGES and bool(choice.refused)


def _own(choice: Choice) -> bool:
    # A weak name with a unit of another kind ("low 2 quarts", "high 5 minutes") is no reading.
    return "write one of them" not in choice.refused
