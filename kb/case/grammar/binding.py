"""One clause's words with their meaning: negations, conditions and places bound to what they mark.

A negation binds to the next observation; a part named between the two stays as it is ("no cold
air": the air is there, not cold). A negation straight before a condition turns the condition.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Final

from kb.case.grammar.lexicon import Lexeme
from kb.case.grammar.wordforms import NUMBER, Word
from kb.case.model import Polarity

_TURNS: Final = {"no": Polarity.NO, "weak": Polarity.WEAK, "past": Polarity.PAST}
# "hardly cold" is a complaint; "slightly cold" is only a slight one.
_NEVER_SLIGHT: Final = frozenset(["cold", "warm", "blow", "work", "little", "ok"])
# Words of places that carry a number: "cyl 3", "level 2".
_NUMBERED: Final = frozenset(["cylinder", "level_word"])
_LEAST_HIGH_IDLE_RPM: Final = 1000.0
# Words after a number that make it something else than a road speed.
_UNITS: Final = frozenset(
    [
        "v",
        "volt",
        "a",
        "amp",
        "ma",
        "psi",
        "kpa",
        "bar",
        "f",
        "c",
        "degree",
        "ohm",
        "rpm",
        "percent",
        "lb",
        "hz",
        "ms",
        "mv",
        "inhg",
        "oz",
        "gram",
        "min",
        "minut",
        "second",
        "sec",
        "hour",
        "day",
        "week",
        "year",
        "mm",
    ]
)
_AFTER_ON: Final = frozenset(
    ["", "when", "all", "at", "since", "after", "and", "with", "then", "for", "while", "if"]
)
_SPEEDS_MPH: Final = (45.0, 99.0)


@dataclass(slots=True)
class Bound:
    """A phrase with its polarity; ``lent`` marks a part named in the clause before."""

    lexeme: Lexeme
    polarity: Polarity = Polarity.YES
    lent: bool = False
    # State and action classes; noun and group classes: asked for many times, so kept.
    observed: tuple[str, ...] = field(init=False)
    parts: tuple[str, ...] = field(init=False)

    def __post_init__(self) -> None:
        """Sort the classes of the phrase once."""
        self.observed = self.lexeme.names("state") + self.lexeme.names("action")
        self.parts = self.lexeme.names("noun") + self.lexeme.names("group")


@dataclass(slots=True)
class BoundClause:
    """What one clause holds, before symptoms are sought."""

    start: int
    end: int
    bound: list[Bound] = field(default_factory=list)
    functions: set[str] = field(default_factory=set)
    conditions: list[str] = field(default_factory=list)
    not_conditions: list[str] = field(default_factory=list)
    position: str | None = None
    marks: list[str] = field(default_factory=list)
    change: str | None = None
    numbers: bool = False
    unknown: int = 0
    spans: list[tuple[int, int]] = field(default_factory=list)

    @property
    def observes(self) -> bool:
        """True where a state or an action is named."""
        return any(item.observed for item in self.bound)


def _is_speed(lexeme: Lexeme, words: Sequence[Word]) -> bool:
    inside = words[lexeme.first : lexeme.last + 1]
    numbers = [word for word in inside if word.stem == NUMBER]
    if not numbers:
        return True
    after = words[lexeme.last + 1].stem if lexeme.last + 1 < len(words) else ""
    try:
        value = float(numbers[-1].text.replace(",", ""))
    except ValueError:
        return False
    return after not in _UNITS and _SPEEDS_MPH[0] <= value <= _SPEEDS_MPH[1]


def _conditions_of(lexeme: Lexeme, words: Sequence[Word]) -> tuple[str, ...]:
    keys = lexeme.names("condition")
    if "at_highway" in keys and not _is_speed(lexeme, words):
        return tuple(key for key in keys if key != "at_highway")
    return keys


class _Binder:
    """The running state while one clause is read left to right."""

    def __init__(self, clause: BoundClause, words: Sequence[Word], opposite: Mapping[str, str]):
        self.clause, self.words, self.opposite = clause, words, opposite
        self.turn: Polarity | None = None
        self.last: Polarity | None = None
        self.only = self.away = False
        self.since = 99

    def take(self, lexeme: Lexeme) -> None:
        functions = lexeme.names("function")
        if functions:
            self._function(functions)
        keys = _conditions_of(lexeme, self.words)
        if keys:
            self._condition(keys)
        if (positions := lexeme.names("position")) and self.clause.position is None:
            self.clause.position = positions[0]
        self._mark(lexeme)
        if changes := lexeme.names("change"):
            self._change(changes[0])
        if functions and len(lexeme.classes) > len(functions):
            # "nothing" denies what follows, not itself.
            self.clause.bound.append(Bound(lexeme))
        elif len(lexeme.classes) > len(functions):
            self._observe(lexeme)

    def _function(self, names: tuple[str, ...]) -> None:
        self.clause.functions.update(names)
        turn = next((_TURNS[name] for name in names if name in _TURNS), None)
        if turn is not None:
            # Two negations in a row ("not no heat") are one: people stress, they do not compute.
            self.turn, self.since, self.away = turn, 0, False
        elif "or" in names and self.last is Polarity.NO:
            # "no tick or knock" denies both.
            self.turn, self.since, self.away = Polarity.NO, 1, False
        elif "only" in names:
            self.only = True
        elif "unless" in names or "except" in names:
            self.turn, self.since, self.away = Polarity.NO, 0, True
        elif "marker" in names and self.since > 0:
            self.turn = None

    def _condition(self, keys: tuple[str, ...]) -> None:
        turned = self.turn is Polarity.NO and self.since == 0
        aim = self.clause.not_conditions if turned else self.clause.conditions
        aim.extend(key for key in keys if key not in aim)
        if turned:
            self.turn = None
        elif self.only:
            away = [self.opposite[key] for key in keys if key in self.opposite]
            self.clause.not_conditions.extend(
                key for key in away if key not in self.clause.not_conditions
            )
        self.since += 1

    def _mark(self, lexeme: Lexeme) -> None:
        if any(word.text == "than" for word in self.words[: lexeme.first]):
            # What stands after "than" is only what the rest is held against.
            return
        found = [*lexeme.names("mark"), *_numbered_place(lexeme, self.words)]
        if "then" in lexeme.names("word"):
            found += ["first_" + item.observed[0] for item in self.clause.bound if item.observed]
        self.clause.marks.extend(name for name in found if name not in self.clause.marks)

    def close(self) -> None:
        """Bind what stands after its word: "leak none", "groans slightly"."""
        items = [item for item in self.clause.bound if item.observed]
        if self.turn is not None and self.since == 0 and not self.away:
            named = [item for item in self.clause.bound if not item.lexeme.names("function")]
            for item in (items or named)[-1:]:
                item.polarity = self.turn
        if items and "absent" in self.clause.functions:
            items[-1].polarity = Polarity.NO
        if "slight" in self.clause.functions:
            for item in items:
                if item.polarity is Polarity.YES and not _NEVER_SLIGHT & set(item.observed):
                    item.polarity = Polarity.WEAK

    def _change(self, name: str) -> None:
        if self.turn is Polarity.NO and name in {"gone", "better"}:
            name = "same"
        self.clause.change = self.clause.change or name

    def _observe(self, lexeme: Lexeme) -> None:
        item = Bound(lexeme)
        if self.turn is not None and not self.away and _said(item):
            item.polarity = self.turn
            self._move_turn(item)
        self.since += 1
        self.clause.bound.append(item)

    def _move_turn(self, item: Bound) -> None:
        if not item.observed:
            return
        before = self.clause.bound[-1] if self.clause.bound else None
        if before and self.since == 1 and before.parts and not before.observed:
            before.polarity = Polarity.YES
        self.last, self.turn = self.turn, None


def _as_said(lexeme: Lexeme, words: Sequence[Word]) -> Lexeme:
    """Return a lexeme with "on" as a state only where no thing follows ("on floor")."""
    if lexeme.first != lexeme.last or words[lexeme.first].text != "on":
        return lexeme
    after = words[lexeme.last + 1].text if lexeme.last + 1 < len(words) else ""
    if after in _AFTER_ON:
        return lexeme
    return replace(lexeme, classes=(("function", "marker"),))


def _numbers_in(lexeme: Lexeme, words: Sequence[Word]) -> list[str]:
    inside = words[lexeme.first : lexeme.last + 1]
    return [word.text for word in inside if word.stem == NUMBER]


def _numbered_place(lexeme: Lexeme, words: Sequence[Word]) -> list[str]:
    names = [name for name in lexeme.names("word") if name in _NUMBERED]
    return [f"{names[0]}_{number}" for number in _numbers_in(lexeme, words) if names]


def _fitting(lexeme: Lexeme, words: Sequence[Word]) -> Lexeme:
    """Return a lexeme without a high idle where the number is that of a usual one."""
    numbers = _numbers_in(lexeme, words) if "high_idle" in lexeme.names("state") else []
    if not numbers:
        return lexeme
    plain = numbers[-1].replace(",", "")
    if plain.isdigit() and float(plain) < _LEAST_HIGH_IDLE_RPM:
        return replace(lexeme, classes=(("condition", "at_idle"),))
    return lexeme


def bind_clause(
    lexemes: Sequence[Lexeme],
    words: Sequence[Word],
    span: tuple[int, int],
    *,
    opposite: Mapping[str, str],
    filler: frozenset[str] = frozenset(),
) -> BoundClause:
    """Return the clause ``span`` with its phrases bound."""
    clause = BoundClause(*span)
    binder = _Binder(clause, words, opposite)
    for lexeme in lexemes:
        binder.take(_fitting(_as_said(lexeme, words), words))
        clause.spans.append((lexeme.start, lexeme.end))
    binder.close()
    inside = {n for lexeme in lexemes for n in range(lexeme.first, lexeme.last + 1)}
    clause.unknown = sum(
        word.stem != NUMBER and n not in inside and word.text not in filler
        for n, word in enumerate(words)
    )
    clause.numbers = any(w.stem == NUMBER for n, w in enumerate(words) if n not in inside)
    return clause


def lend_parts(before: BoundClause | None, clause: BoundClause) -> None:
    """Give a clause without a part of its own the parts named in the clause before."""
    if before is None or any(item.parts for item in clause.bound):
        return
    clause.bound.extend(
        Bound(item.lexeme, Polarity.YES, lent=True) for item in before.bound if item.parts
    )


def _said(item: Bound) -> bool:
    return bool(item.observed or item.parts or item.lexeme.names("word"))
