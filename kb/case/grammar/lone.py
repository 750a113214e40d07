"""Numbers with a unit and no name: what they can be, asked back."""

from collections.abc import Iterable
from typing import Final

from kb.case.grammar.marks import Line
from kb.case.grammar.names import Names
from kb.case.grammar.near import near_state
from kb.case.grammar.places import Spot, place_at
from kb.case.grammar.values import TypedUnit, Value
from kb.case.terms import Vocabulary
from kb.case.units import Quantity, convert

# Units of what is measured; minutes, miles and inches say no quantity (common practice, no source).
ASKED: Final = frozenset(
    {"V", "mV", "A", "mA", "ohm", "kohm", "Mohm", "psi", "kPa", "bar", "inHg", "degF", "degC", "Hz",
     "ms", "ppm", "inH2O"}
)  # fmt: skip
# Before a number of the action or of the specification, not of the car.
_GIVEN: Final = frozenset(
    {"with", "w/", "to", "after", "rated", "spec", "specs", "below", "above", "under", "over", "than",
     "until", "till", "at", "@", "about", "should", "be", "max", "min", "limit", "a", "new"}
)  # fmt: skip
_VERBS: Final = frozenset({"held", "holds", "hold", "steady", "only", "ok", "good", "max", "min"})
_TIMES: Final = frozenset({"min", "h", "day"})
_MAX_OPTIONS: Final = 6
# In widths of the usual band; a weak part is read a little outside it (our choice).
_NEARLY: Final = 0.25


def is_lone(line: Line, value: Value, unit: TypedUnit, *, names: Names) -> bool:
    """Return whether the number stands for a reading, and not beside a thing ("20 A fuse")."""
    if not ASKED & set(unit.units) or line.low(value.first - 1) in _GIVEN:
        return False
    at = unit.stop
    if line.kind(value.first - 1) == "number" and value.first:
        return False
    if place_at(line, at, names) or near_state(line, at, names):
        return True
    if line.low(at) in names.stop or line.low(at) in names.falls or line.low(at) in _VERBS:
        return True
    return line.kind(at) != "word" or line.clause[at] != line.clause[value.first]


def outside(value: Value, unit: str, quantity: Quantity) -> float | None:
    """Return how far the value lies outside the usual band, None where it cannot be right."""
    number = convert(value.low or 0.0, unit, quantity.unit)
    hard_low, hard_high = quantity.hard
    if not hard_low <= number <= hard_high:
        return None
    if quantity.typical is None:
        return _NEARLY
    low, high = quantity.typical
    return max(low - number, number - high, 0.0) / max(high - low, 1e-9)


def lone_options(value: Value, unit: TypedUnit, words: Vocabulary) -> tuple[str, ...]:
    """Return the names of the quantities that the number fits best, the most usual first."""
    rows: list[tuple[float, int, str]] = []
    for order, quantity in enumerate(words.quantities.values()):
        for key in unit.units:
            far = outside(value, key, quantity) if key in quantity.accepted else None
            if far is not None:
                rows.append((far, order, quantity.name))
    inside = [row for row in rows if row[0] <= _NEARLY]
    return tuple(dict.fromkeys(row[2] for row in sorted(inside or rows)))[:_MAX_OPTIONS]


def by_cylinder(spot: Spot | None, unit: TypedUnit, words: Vocabulary) -> str | None:
    """Return the one quantity that is read at a cylinder in this unit, None for several."""
    if spot is None or not spot.numbered or not spot.text.startswith("cylinder"):
        return None
    found = [
        quantity.key
        for quantity in words.quantities.values()
        if "cylinder" in quantity.positions and set(unit.units) & set(quantity.accepted)
    ]
    return found[0] if len(found) == 1 else None


def of_time(unit: TypedUnit, accepted: Iterable[str]) -> bool:
    """Return whether minutes stand where the quantity is no time: "comp test 45 min"."""
    return bool(_TIMES & set(unit.units)) and not _TIMES & set(accepted)
