"""How long a check took: "smoke test 15 min", "held 20 min"."""

from typing import Final

from kb.case.grammar.marks import Line
from kb.case.grammar.names import Names
from kb.case.grammar.values import unit_at, value_at

# Before a time of the fault or of the trial, not of the work.
AFTERWARDS: Final = frozenset(
    {"after", "in", "within", "every", "per", "/", "last", "than", "until", "at"}
)
HOLDS: Final = frozenset({"held", "holds", "hold", "took"})
_MINUTES: Final = {"min": 1.0, "h": 60.0}


def minutes_at(line: Line, index: int, names: Names) -> tuple[float | None, int]:
    """Return the minutes typed at mark ``index`` and where they end; None where there are none."""
    value = value_at(line, index) if line.kind(index) == "number" else None
    if value is None or value.low is None or value.low != value.high:
        return None, index
    unit = unit_at(line, value.stop, names)
    factor = next((_MINUTES[key] for key in unit.units if key in _MINUTES), None)
    if factor is None or unit.raw == "m":
        return None, index
    return value.low * factor, unit.stop
