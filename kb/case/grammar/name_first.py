"""Readings typed name first: one value, a list of values, or from one value to another."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from kb.case.grammar.choose import Typed
from kb.case.grammar.lone import of_time
from kb.case.grammar.names import Name
from kb.case.grammar.pairs import PairReader
from kb.case.grammar.places import Spot, place_at
from kb.case.grammar.seek import Search
from kb.case.grammar.sink import Named, plain
from kb.case.grammar.values import TypedUnit, Value, unit_at, value_at

_LIST: Final = frozenset({",", "/", "and", "&", "|", "+"})
_BEFORE_PLACE: Final = frozenset({"on", "at", "in", "across", "over", "the", "thru", "through"})
_UNDER: Final = frozenset({"with", "w/", "when", "while", "if"})
# What is counted and no reading, even after another reading of its group.
_THINGS: Final = frozenset(
    {"quarts", "quart", "qts", "qt", "pints", "cans", "can", "times", "days", "weeks", "months",
     "miles", "gears", "of"}
)  # fmt: skip
_HALVES: Final = frozenset({"dry", "wet"})
_EDGES: Final = frozenset({"inner", "outer"})
_VACUUMS: Final = frozenset({"manifold_vacuum", "evacuation_vacuum"})


class NameFirst(PairReader):
    """Reads a name with its value or values."""

    def _named(self, index: int, rows: Sequence[Name], size: int) -> int:
        """Read ``name ... value``; return where it ends, 0 where there is no value."""
        weak = all(row.weak or row.needs_unit for row in rows)
        search = self._seek(index + size, weak=weak)
        value = value_at(self.line, search.at) if search else None
        if search is None or value is None:
            return 0
        if any(row.pair for row in rows):
            return self._pair(index, rows, value)
        value = _below(value, rows)
        unit = self._unit_of(value, rows)
        known = self.out.found and any(self._same_group(row) for row in rows if row.quantity)
        things = self.line.low(value.stop) in _THINGS
        if weak and not unit.raw and (things or not known) and self._counts_things(value):
            return 0
        if of_time(unit, {key for row in rows if row.quantity for key in self._accepted(row)}):
            return 0
        lead = search.spot or self._lead(index, rows)
        return self._values(index, rows, search, value=value, unit=unit, lead=lead)

    def _unit_of(self, value: Value, rows: Sequence[Name]) -> TypedUnit:
        """Return the unit of a value, unless it is the next name: "ect 192 rpm 720"."""
        unit = unit_at(self.line, value.stop, self.names)
        accepted = {key for row in rows if row.quantity for key in self._accepted(row)}
        if not unit.units or accepted & set(unit.units) or not value_at(self.line, unit.stop):
            return unit
        named = self.names.names.at(self.line, value.stop)[0]
        return TypedUnit(stop=value.stop) if named else unit

    def _same_group(self, row: Name) -> bool:
        quantities = self.names.words.quantities
        return quantities[row.quantity].group == quantities[self.out.found[-1].quantity].group

    def _counts_things(self, value: Value) -> bool:
        """Return whether "low 2 quarts" counts something that is no unit."""
        line, names, at = self.line, self.names, value.stop
        if line.kind(at) != "word" or line.clause[at] != line.clause[value.first]:
            return False
        known = names.stop | names.fillers | names.linkers | names.falls | names.rises | _LIST
        if line.low(at) in known or place_at(line, at, names):
            return False
        return not (names.names.at(line, at)[0] or names.states.at(line, at)[0])

    def _lead(self, index: int, rows: Sequence[Name]) -> Spot | None:
        spot = self._before
        if spot and spot.text.startswith("bank") and not self._has_banks(rows):
            # "pulse 3.1 ms b1 tps 14%": the bank belongs to the value before it.
            return None
        return spot if spot and self.line.same_statement(spot.first, index) else None

    def _values(
        self, index: int, rows: Sequence[Name], search: Search, *, value: Value,
        unit: TypedUnit, lead: Spot | None,
    ) -> int:  # fmt: skip
        """Read one value or a list of values under one name."""
        entries = [(value, unit, lead)]
        stop = unit.stop
        trail = self._trail(stop, lead=lead)
        if trail:
            entries[0] = (value, unit, trail)
            stop = trail.stop
        elif lead is None and (wheel := self._wheel_of_clause(index, rows)):
            entries[0] = (value, unit, wheel)
        change = self._from_to(value, unit, search)
        if change:
            return self._changed(index, rows, search, first=entries[0], second=change)
        if self.line.low(stop) == "/" and (second := value_at(self.line, stop + 1)):
            return self._two(index, rows, value, second=second, lead=lead)
        stop = self._more(rows, entries, stop=stop, lead=lead)
        return self._emit(index, rows, entries, stop=stop, search=search)

    def _trail(self, index: int, *, lead: Spot | None) -> Spot | None:
        """Return a place after a value, unless the place belongs to the next value."""
        at = index
        for _ in range(2):
            at += self.line.low(at) in _BEFORE_PLACE
        spot = place_at(self.line, at, self.names)
        if lead is not None:
            joins = spot is not None and spot.text in (_HALVES if lead.numbered else _EDGES)
            joins = joins and spot is not None and self._ends_in_place(spot.stop)
            return replace(spot, text=f"{lead.text} {spot.text}") if spot and joins else None
        if spot is None or self._name_with_value(spot.stop):
            return None
        return spot if self._ends_in_place(spot.stop) else None

    def _ends_in_place(self, index: int) -> bool:
        """Return whether ``3 mm front 6 mm rear`` goes on value by place until it ends in one."""
        for _ in range(8):
            value = value_at(self.line, index)
            if value is None:
                return True
            spot = place_at(self.line, unit_at(self.line, value.stop, self.names).stop, self.names)
            if spot is None:
                return False
            index = spot.stop
        return False

    def _has_banks(self, rows: Sequence[Name]) -> bool:
        places = [place for r in rows if r.quantity for place in self._places(r)]
        return not places or any("bank" in place for place in places)

    def _wheel_of_clause(self, index: int, rows: Sequence[Name]) -> Spot | None:
        """Return the wheel or bank a clause began with: "rr rotor 21.4 mm dtv .03 mm"."""
        spot = self._wheel
        if spot is None or self.line.clause[spot.first] != self.line.clause[index]:
            return None
        wanted = spot.text if spot.text.startswith("bank") else "wheel"
        return spot if all(wanted in self._places(r) for r in rows if r.quantity) else None

    def _name_with_value(self, index: int) -> bool:
        rows, size = self.names.names.at(self.line, index)
        return bool(rows) and self._seek(index + size, weak=True) is not None

    def _more(
        self, rows: Sequence[Name], entries: list[tuple[Value, TypedUnit, Spot | None]], *,
        stop: int, lead: Spot | None,
    ) -> int:  # fmt: skip
        """Read further values of a list; return where it ends."""
        leading = lead is not None
        while len(entries) < 16:
            at = stop + (self.line.low(stop) in _LIST)
            if at in self.taken:
                return stop
            spot = place_at(self.line, at, self.names) if leading else None
            value = value_at(self.line, spot.stop if spot else at)
            if value is None or (spot is None and not self._listed(rows, value)):
                return stop
            unit = unit_at(self.line, value.stop, self.names)
            if unit.units and spot is None and self.line.low(unit.stop) in _UNDER:
                # "iso 5 Mohm, 0.3 Mohm with heater plugged": the same again, not a list.
                return stop
            trail = None if spot else self._trail(unit.stop, lead=lead)
            if not leading and trail is None and entries[0][2] is not None:
                return stop
            if spot and lead and spot.text in _EDGES and lead.text[:2] in {"LF", "RF", "LR", "RR"}:
                spot = replace(spot, text=f"{lead.text[:2]} {spot.text}")
            entries.append((value, unit, spot or trail))
            stop = trail.stop if trail else unit.stop
        return stop

    def _listed(self, rows: Sequence[Name], value: Value) -> bool:
        """Return whether a further number belongs to the list: no name and no other unit."""
        unit = unit_at(self.line, value.stop, self.names)
        after, _ = self.names.names.at(self.line, unit.stop)
        places = {p for row in rows if row.quantity for p in self._places(row)}
        if not places or (after and value_at(self.line, unit.stop + 1) is None):
            return False
        accepted = {u for row in rows if row.quantity for u in self._accepted(row)}
        return not unit.units or bool(set(unit.units) & accepted)

    def _places(self, row: Name) -> tuple[str, ...]:
        return self.names.words.quantities[row.quantity].positions

    def _accepted(self, row: Name) -> tuple[str, ...]:
        return self.names.words.quantities[row.quantity].accepted

    def _from_to(
        self, value: Value, unit: TypedUnit, search: Search
    ) -> tuple[Value, TypedUnit] | None:
        arrow = self.line.kind(unit.stop) == "arrow"
        if not (arrow or self.line.low(unit.stop) == "to"):
            return None
        second = value_at(self.line, unit.stop + 1)
        if second is None or (arrow and self._named_after(second)):
            return None
        return second, unit_at(self.line, second.stop, self.names)

    def _named_after(self, value: Value) -> bool:
        unit = unit_at(self.line, value.stop, self.names)
        return bool(self.names.names.at(self.line, unit.stop)[0])

    def _changed(
        self, index: int, rows: Sequence[Name], search: Search, *,
        first: tuple[Value, TypedUnit, Spot | None], second: tuple[Value, TypedUnit],
    ) -> int:  # fmt: skip
        (value, unit, spot), (after, after_unit) = first, second
        typed_unit = after_unit if after_unit.units else unit
        choice = self._choose(rows, Typed(value=after, unit=typed_unit, close=True))
        stop = after_unit.stop
        if choice is None or not choice.unit or choice.name is None:
            self._ask(choice, index, stop)
            return stop
        span = self.line.span(value.first, after.stop)
        rising = (after.low or 0.0) > (value.low or 0.0)
        swing = search.swings or (
            rising and not search.changed and self.line.low(unit.stop) == "to"
        )
        typed = self.line.text[span[0] : span[1]] if swing else after.typed
        self._add(choice, (index, stop), typed, spot=spot, changed=not swing, before=None if swing else plain(value.typed))  # fmt: skip
        return stop

    def _emit(
        self, index: int, rows: Sequence[Name],
        entries: list[tuple[Value, TypedUnit, Spot | None]], *, stop: int, search: Search,
    ) -> int:  # fmt: skip
        near, behind = self._near(stop) if len(entries) == 1 else ("", stop)
        if not self._rests(near, rows):
            near, behind = "", stop
        halves = entries[0][2] is not None and entries[0][2].text.endswith((" dry", " wet"))
        given = next((row for _, row, _ in reversed(entries) if row.units), entries[-1][1])
        several = len(entries) > 1 or (entries[0][2] is not None and entries[0][2].numbered)
        spots = self._numbered_places(rows, entries)
        if spots is None:
            texts = ", ".join(value.typed for value, _, _ in entries)
            self._question((index, stop), "several numbers: which is where?", (texts,))
            return stop
        for (value, unit, _), spot in zip(entries, spots, strict=True):
            typed = Typed(
                value=value, unit=unit if unit.units or unit.trap else given, several=several,
                close=search.close, near=near,
            )  # fmt: skip
            choice = self._choose(rows, typed)
            if choice is None or (choice.refused and self._named_after(value)):
                return 0 if value is entries[0][0] else stop
            if choice.unit:
                self._add(choice, (index if value is entries[0][0] else value.first, stop if len(entries) == 1 else unit.stop), value.typed, spot=spot, changed=search.changed, falls=search.falls, near=near)  # fmt: skip
            else:
                self._ask(choice, index, stop)
        self._last = Named(
            rows=tuple(rows), spot=entries[0][2], first=index, unit=given,
            sure=bool(near or halves),
        )  # fmt: skip
        return behind

    def _numbered_places(
        self, rows: Sequence[Name], entries: list[tuple[Value, TypedUnit, Spot | None]]
    ) -> list[Spot | None] | None:
        """Give a list without places the numbers of its cylinders; None where that is a guess."""
        spots = [spot for _, _, spot in entries]
        if len(entries) == 1 or all(spots):
            return spots
        row = next((row for row in rows if row.quantity), None)
        if row is None or "cylinder" not in self._places(row) or any(spots):
            return None
        return [
            Spot(text=f"cylinder {number}", first=value.first, stop=value.stop, numbered=True)
            for number, (value, _, _) in enumerate(entries, start=1)
        ]


def _below(value: Value, rows: Sequence[Name]) -> Value:
    """Return a vacuum as positive below the atmosphere, whichever way the gauge was read."""
    if value.low is None or value.high is None or not value.signed or value.low > 0:
        return value
    if not all(row.quantity in _VACUUMS for row in rows):
        return value
    return replace(value, low=-value.high, high=-value.low, typed=value.typed.lstrip("-−"))
