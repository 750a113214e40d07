"""Rows of the vocabulary: one frozen value for each kind of word that the trade uses."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Final

# Systems whose quantities stand in a group of another name.
GROUPS_OF_SYSTEM: Final = {
    "hvac": ("hvac",),
    "cooling": ("cooling",),
    "engine_performance": ("engine",),
    "emissions": ("engine",),
    "engine_mechanical": ("mechanical",),
    "starting_charging": ("electrical",),
    "body_electrical": ("electrical",),
    "network": ("network",),
    "brakes": ("brakes",),
    "steering_suspension": ("chassis",),
    "driveline": ("driveline",),
    "hybrid_ev": ("hybrid",),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """A key with the words that stand for it on a screen."""

    key: str
    name: str
    strength: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class SymptomTerm:
    """A symptom that the trade names: ``say`` is how a screen says it."""

    key: str
    system: str
    say: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ConditionTerm:
    """A condition with its family, its other spellings and its opposites."""

    key: str
    family: str
    say: str
    also: tuple[str, ...] = ()
    opposite: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SynonymGroup:
    """Words that must match; ``also`` may carry a bracketed context."""

    key: str
    say: str
    also: tuple[str, ...] = ()
    misspelled: tuple[str, ...] = ()
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Opposite:
    """Two phrases that look alike and must not match."""

    a: str
    b: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Negation:
    """A pattern that turns an observation round."""

    pattern: str
    example: str
    meaning: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Ambiguous:
    """A word with several meanings and what decides between them."""

    word: str
    meanings: tuple[str, ...]
    decide: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Phrase:
    """A way in which people say a symptom."""

    who: str
    text: str
    symptom: str
    conditions: tuple[str, ...] = ()
    trap: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckTerm:
    """Something done to tell causes apart; ``minutes`` are least and most, hands-on.

    ``reads`` are the quantities whose readings, all of them typed, are this check done.
    """

    key: str
    name: str
    systems: tuple[str, ...]
    kind: str
    isolates: str
    outcomes: tuple[str, ...]
    minutes: tuple[float, float]
    tools: str
    access: str
    cautions: tuple[str, ...] = ()
    subject: str | None = None
    reads: tuple[str, ...] = ()

    @property
    def typical_minutes(self) -> float:
        """The middle of the two hands-on figures, in minutes."""
        return (self.minutes[0] + self.minutes[1]) / 2

    @property
    def is_action(self) -> bool:
        """True where an action is done and its response watched."""
        return self.kind in {"isolate", "swap", "command"}

    @property
    def is_lookup(self) -> bool:
        """True where something is looked up, which tells nothing about this car by itself."""
        return self.kind == "lookup"

    def is_read(self, quantities: Collection[str]) -> bool:
        """Say whether readings of ``quantities`` are all that this check asks for."""
        return bool(self.reads) and all(key in quantities for key in self.reads)


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseTerm:
    """A cause with the checks that prove it and the outcome each check would have."""

    key: str
    system: str
    name: str
    complaints: tuple[str, ...]
    telling: str
    prove: tuple[str, ...]
    fix: str
    part: str
    access_hours: float
    like: tuple[str, ...]
    expect: Mapping[str, str]
    cautions: tuple[str, ...] = ()
    cheaper: str | None = None
    cheaper_note: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One plain sentence; ``stop`` is shown before the step."""

    key: str
    level: str
    systems: tuple[str, ...]
    text: str
    checks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class DerivedTerm:
    """A reading computed from others; ``unit`` is the unit of its value."""

    key: str
    name: str
    formula: str
    unit: str
    group: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BaselineReading:
    """A reading of a baseline set, with the places where it is taken; none means one number."""

    quantity: str
    positions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Baseline:
    """The shortest useful list of readings of a system, and the conditions they are taken under.

    ``always`` are read on every job of the system, ``pointed`` where something points to them.
    """

    system: str
    conditions: tuple[str, ...]
    always: tuple[BaselineReading, ...]
    pointed: tuple[BaselineReading, ...] = ()

    @property
    def readings(self) -> tuple[BaselineReading, ...]:
        """All readings of the set, in order."""
        return (*self.always, *self.pointed)
