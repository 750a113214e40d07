"""Bare temperatures: "starts cold, won't restart hot" speaks of the engine, "vent cold" of the air."""

from typing import Final

from kb.case.grammar.binding import Bound, BoundClause
from kb.case.model import Polarity

# Beside these a temperature is that of the air or the gauge, not the engine's.
AIR_WORDS: Final = frozenset(
    ["air", "ac", "vent", "heat", "temperature", "blow", "back_row", "front_row"]
)
_TEMPERATURES: Final = {"cold": "engine_cold", "warm": "engine_hot"}


def bare_temperature(
    clause: BoundClause, engine_words: frozenset[str], *, beside_air: bool, carried: bool
) -> bool:
    """Read "starts cold, won't restart hot": bare temperatures beside something else observed.

    Returns True where one was read; the clauses after it are then read likewise (``carried``).
    """
    names = {name for item in clause.bound if not item.lent for name, _ in _names(item)}
    if names & AIR_WORDS:
        return False
    if not names & engine_words and (beside_air or not (carried or _others(clause))):
        return False
    if carried and not _others(clause) and any(item.parts for item in clause.bound):
        return False
    bare = [item for item in clause.bound if "bare" in item.lexeme.names("word")]
    found = False
    if len({item.observed for item in bare}) > 1:
        # "starts cold then goes warm" is a course of things, not two conditions.
        return False
    for item in list(clause.bound):
        keys = [_TEMPERATURES[name] for name in item.observed if name in _TEMPERATURES]
        if keys and "bare" in item.lexeme.names("word"):
            aim = clause.not_conditions if item.polarity is Polarity.NO else clause.conditions
            aim.extend(key for key in keys if key not in aim)
            clause.bound.remove(item)
            found = True
    return found


def _others(clause: BoundClause) -> bool:
    """Return True where the clause observes more than a temperature or a gauge's high and low."""
    plain = {"cold", "warm", "work", "on", "blow"} | ({"low", "high"} if clause.numbers else set())
    own = [item for item in clause.bound if not item.lent]
    return any(set(item.lexeme.names("state")) - plain for item in own)


def _names(item: Bound) -> list[tuple[str, str]]:
    return [(name, kind) for kind, name in item.lexeme.classes]
