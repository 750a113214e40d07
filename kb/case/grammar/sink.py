"""Where found readings, questions and refusals are put down."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TypedDict, Unpack

from kb.case.grammar.choose import Typed, choose
from kb.case.grammar.marks import Line
from kb.case.grammar.names import Name, Names
from kb.case.grammar.near import near_state
from kb.case.grammar.parsed import Question, Refused
from kb.case.grammar.places import Spot, fitting_place
from kb.case.grammar.values import Choice, Context, TypedUnit, Value


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A value with its quantity; ``changed`` where an action or a verb brought it there."""

    quantity: str
    typed: str
    unit: str
    first: int
    stop: int
    position: str | None = None
    changed: bool = False
    before: str | None = None
    falls: bool | None = None
    near: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bare:
    """A value right after an arrow, without a name."""

    value: Value
    unit: TypedUnit
    first: int
    stop: int


@dataclass(slots=True)
class Gathered:
    """Everything that the reading grammar found in one line."""

    found: list[Found] = field(default_factory=list)
    bare: list[Bare] = field(default_factory=list)
    states: list[tuple[str, int, int]] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    refused: list[Refused] = field(default_factory=list)


class Extra(TypedDict, total=False):
    """What a reading may have beside its value."""

    spot: Spot | None
    changed: bool
    before: str | None
    falls: bool | None
    near: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """The names read last, for a further number of theirs in another state."""

    rows: tuple[Name, ...]
    spot: Spot | None
    first: int
    unit: TypedUnit
    sure: bool


class ReadingSink:
    """Keeps what was found in one line, and knows its words."""

    def __init__(self, line: Line, names: Names, context: Context) -> None:
        self.line = line
        self.names = names
        self.context = context
        self.out = Gathered()
        self.taken: frozenset[int] = frozenset()
        self._before: Spot | None = None
        self._last: Named | None = None
        self._wheel: Spot | None = None

    def _state(self, value: Value, unit: TypedUnit) -> None:
        text = f"{value.typed} {unit.units[0]}"
        self.out.states.append((text, value.first, unit.stop))

    def _near(self, index: int) -> tuple[str, int]:
        """Return the state behind a number that ends at ``index``, and where it ends."""
        near = near_state(self.line, index, self.names)
        if near is None:
            return "", index
        if near.state.endswith(" rpm"):
            self.out.states.append((near.state, near.first, near.stop))
        return near.state, near.stop

    def _rests(self, near: str, rows: Sequence[Name]) -> bool:
        # In "160 rest" after a compression the rest are the other cylinders.
        volts = any(
            "V" in self.names.words.quantities[row.quantity].accepted
            for row in rows
            if row.quantity
        )
        return near != "at rest" or volts

    def _choose(self, rows: Sequence[Name], typed: Typed) -> Choice | None:
        last = self.out.found[-1].quantity if self.out.found else ""
        return choose(rows, replace(typed, last=last), names=self.names, context=self.context)

    def _add(
        self, choice: Choice, marks: tuple[int, int], typed: str, **more: Unpack[Extra]
    ) -> None:
        """Put down a reading; ``marks`` are its first mark and the one after its last."""
        name, spot = choice.name, more.get("spot")
        if name is None:
            return
        places = self.names.words.quantities[name.quantity].positions
        typed_place = fitting_place(spot.text, places) if spot else None
        if name.position in (typed_place or "").split():
            typed_place = None
        position = " ".join(part for part in (typed_place, name.position) if part)
        self.out.found.append(
            Found(
                quantity=name.quantity,
                typed=plain(typed),
                unit=choice.unit,
                first=marks[0],
                stop=marks[1],
                position=position or None,
                changed=more.get("changed", False),
                before=more.get("before"),
                falls=more.get("falls"),
                near=more.get("near", ""),
            )
        )

    def _ask(self, choice: Choice | None, first: int, stop: int) -> None:
        if choice is None:
            return
        start, end = self.line.span(first, stop)
        text = self.line.text[start:end]
        if choice.refused:
            self.out.refused.append(
                Refused(text=text, start=start, end=end, message=choice.refused)
            )
        else:
            self.out.questions.append(
                Question(text=text, start=start, end=end, why=choice.why, options=choice.options)
            )

    def _question(self, marks: tuple[int, int], why: str, options: tuple[str, ...]) -> None:
        self._ask(Choice(why=why, options=options), *marks)


def plain(typed: str) -> str:
    """Return a typed value without spaces round its sign and with a plain minus."""
    return typed.strip().replace("−", "-")
