"""The state right behind a number: "12.1 rest", "31 at 2000", "14.6 V no load"."""

from dataclasses import dataclass
from typing import Final

from kb.case.grammar.marks import Line
from kb.case.grammar.names import Names
from kb.case.grammar.values import unit_at, value_at

# States of which a number can have one only: that behind the number beats those of the line.
RIVALS: Final = frozenset(
    {"at rest", "engine_running", "at_idle", "cranking", "key_on_engine_off", "loaded", "unloaded"}
)
_STEPS: Final = frozenset(
    {"at", "@", "(", "hot", "cold", "warm", "steady", "while", "when", "with"}
)
_MAX_STEPS: Final = 3
_MAX_CHAIN: Final = 6
_SLOWEST: Final = 400
_FASTEST: Final = 9000


@dataclass(frozen=True, slots=True, kw_only=True)
class Near:
    """A state with its marks."""

    state: str
    first: int
    stop: int


def _speed(line: Line, index: int, names: Names) -> Near | None:
    """Return the engine speed of ``at 2000`` or ``at 1500 rpm``."""
    value = value_at(line, index)
    if value is None or value.low is None:
        return None
    unit = unit_at(line, value.stop, names)
    if line.low(index - 1) not in {"at", "@"} and "rpm" not in unit.units:
        return None
    if unit.units and "rpm" not in unit.units:
        return None
    bare = value.typed.isdigit() and _SLOWEST <= value.low <= _FASTEST
    # "at 2500 low 40" is a speed as well, but "at 600 psi" is none.
    if not bare or (not unit.units and line.kind(value.stop) == "word"):
        return None
    return Near(state=f"{value.typed} rpm", first=value.first, stop=unit.stop)


def _begins(line: Line, at: int, size: int, *, names: Names) -> bool:
    # "cranking 9.8" and "crank volts 9.8" behind a number begin the next reading.
    rows, longer = names.names.at(line, at)
    if not rows:
        return False
    stop = at + max(size, longer)
    value = value_at(line, stop + (line.low(stop) in {"at", "=", ":"}))
    if value is None or value.signed:
        return False
    # In "12 hot idle 45 at 2500" the 45 has a state of its own.
    behind = unit_at(line, value.stop, names).stop
    if line.low(behind) in {"at", "@"} and _speed(line, behind + 1, names):
        return False
    return not _ends_in_state(line, behind, names)


def _ends_in_state(line: Line, index: int, names: Names) -> bool:
    """Return whether ``10.9 cranking 14.5 running`` goes on until it ends in a state."""
    for _ in range(_MAX_CHAIN):
        rows, size = names.states.at(line, index)
        if not rows:
            return False
        value = value_at(line, index + size)
        if value is None:
            return True
        index = unit_at(line, value.stop, names).stop
    return False


def _state_at(line: Line, at: int, names: Names) -> Near | None:
    rows, size = names.states.at(line, at)
    if not rows:
        return _speed(line, at, names)
    if _begins(line, at, size, names=names):
        return None
    return Near(state=rows[0], first=at, stop=at + size)


def near_state(line: Line, index: int, names: Names) -> Near | None:
    """Return the state that stands at mark ``index``, behind a few small words at most."""
    for at in range(index, min(index + _MAX_STEPS, len(line.marks))):
        if line.clause[at] != line.clause[index - 1]:
            return None
        near = _state_at(line, at, names)
        if near or line.low(at) not in _STEPS:
            return near
    return None
