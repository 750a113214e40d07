"""Readings typed number first: "14.3 at alt", "91F amb", "1450 rpm"."""

from dataclasses import replace
from typing import Final

from kb.case.grammar.choose import Typed
from kb.case.grammar.lone import by_cylinder, is_lone, lone_options, outside
from kb.case.grammar.names import Name
from kb.case.grammar.near import near_state
from kb.case.grammar.places import Spot, place_at
from kb.case.grammar.sink import Bare, Named, ReadingSink
from kb.case.grammar.values import Choice, TypedUnit, Value, unit_at, value_at

# A further number of a name without a state must lie this near to the usual band, in its widths.
_FAR: Final = 1.5
_VOLTS_OF: Final = {
    "generator_current": "battery_voltage_running",
    "cranking_current": "battery_voltage_crank",
}
_WHEELS: Final = frozenset({"LF", "RF", "LR", "RR"})
_HALVES: Final = frozenset({"dry", "wet"})

# "12V battery" and "5v reference" name the kind of thing, not what was read.
_NOMINAL: Final = frozenset({"5", "12", "24", "48"})


def _is_nominal(value: Value, unit: TypedUnit) -> bool:
    return value.typed in _NOMINAL and "V" in unit.units


class NumberFirst(ReadingSink):
    """Reads a number that no name stands before."""

    def _numbered(self, value: Value) -> int:
        """Read a number that no name stands before."""
        line = self.line
        unit = unit_at(line, value.stop, self.names)
        if line.kind(value.first - 1) == "arrow" and value.first:
            self.out.bare.append(Bare(value=value, unit=unit, first=value.first, stop=unit.stop))
            return unit.stop
        stop = self._once_more(value, unit) or self._name_after(value, unit)
        if stop:
            return stop
        if self._again_signed(value):
            return unit.stop
        return (
            self._through(value, unit)
            or self._by_unit(value, unit)
            or self._slashed(value)
            or self._lone(value, unit)
        )

    def _through(self, value: Value, unit: TypedUnit) -> int:
        """Read ``drop 1.9 V at 160 A``: the current at which a voltage was read."""
        last = self.out.found[-1] if self.out.found else None
        if last is None or self.line.low(value.first - 1) not in {"at", "@"}:
            return 0
        key = self._other_side(last.quantity, unit)
        if key is None or not self.line.same_statement(max(last.stop - 1, 0), value.first):
            return 0
        choice = self._choose([Name(quantity=key)], Typed(value=value, unit=unit))
        if choice is None or not choice.unit:
            return 0
        self._add(choice, (value.first, unit.stop), value.typed)
        return unit.stop

    def _other_side(self, quantity: str, unit: TypedUnit) -> str | None:
        """Return the current at which a voltage was read, or the voltage of a current."""
        if "V" in unit.units:
            return _VOLTS_OF.get(quantity)
        if "A" not in unit.units or "V" not in self.names.words.quantities[quantity].accepted:
            return None
        cranking = "cranking" in self.context.states or quantity == "battery_voltage_crank"
        at_hand = near_state(self.line, unit.stop, self.names)
        cranking = cranking or (at_hand is not None and at_hand.state == "cranking")
        return "cranking_current" if cranking else "circuit_current"

    def _lone(self, value: Value, unit: TypedUnit) -> int:
        """Read ``cyl 3 120 psi``, ask about ``80 A``, pass over a number without a unit."""
        words, spot = self.names.words, self._before
        key = by_cylinder(spot, unit, words)
        if key is not None and spot is not None:
            choice = self._choose([Name(quantity=key)], Typed(value=value, unit=unit))
            if choice is not None and choice.unit:
                self._add(choice, (spot.first, unit.stop), value.typed, spot=spot)
                return unit.stop
        if is_lone(self.line, value, unit, names=self.names) and value.low is not None:
            options = lone_options(value, unit, words)
            if options:
                marks = (value.first, unit.stop)
                self._question(marks, f"{value.typed} {unit.raw} of what?", options)
        return unit.stop

    def _name_after(self, value: Value, unit: TypedUnit) -> int:
        at, linked = unit.stop, False
        while at < unit.stop + 3 and self.line.low(at) in self.names.linkers:
            at, linked = at + 1, True
        spot = place_at(self.line, at, self.names)
        rows, size = self.names.names.at(self.line, at)
        if not rows and spot:
            at = spot.stop
            rows, size = self.names.names.at(self.line, at)
        if not linked and at == unit.stop and _is_nominal(value, unit):
            return 0
        strong = [row for row in rows if not row.weak or unit.units]
        if not strong or not (linked or unit.units or self._last_of_chain(at + size)):
            return 0
        if value_at(self.line, at + size) and not self._last_of_chain(at + size):
            return 0
        choice = self._choose(strong, Typed(value=value, unit=unit, close=False))
        if choice is None or choice.refused:
            return 0
        spot = spot or self._numbered_before() or self._place_behind(at + size)
        if not choice.unit:
            self._ask(choice, value.first, at + size)
        else:
            self._add(choice, (value.first, at + size), value.typed, spot=spot)
        return at + size

    def _place_behind(self, index: int) -> Spot | None:
        """Return the place of ``.003 in runout rf``, unless it belongs to what comes next."""
        spot = place_at(self.line, index, self.names)
        if spot is None or spot.text not in _WHEELS or value_at(self.line, spot.stop):
            return None
        return None if self.names.names.at(self.line, spot.stop)[0] else spot

    def _numbered_before(self) -> Spot | None:
        return self._before if self._before is not None and self._before.numbered else None

    def _once_more(self, value: Value, unit: TypedUnit) -> int:
        """Read ``38 koeo, 31 running``: the name read last once more, in another state."""
        last = self._last
        if last is None or not self.line.same_statement(last.first, value.first):
            return 0
        other = self._other_half(last.spot, unit.stop)
        near = near_state(self.line, unit.stop, self.names)
        if near and not self._rests(near.state, last.rows):
            near = None
        if near is None and other is None:
            return 0
        state = near.state if near else ""
        typed = unit if unit.units or unit.trap else replace(last.unit, stop=unit.stop)
        choice = self._choose(
            last.rows, Typed(value=value, unit=typed, near=state, several=other is not None)
        )
        if choice is not None and choice.why and last.sure:
            self._ask(choice, value.first, unit.stop)
            return unit.stop
        if choice is None or not self._believed(choice, value, last):
            return 0
        spot, stop = (other, other.stop) if other else (last.spot, self._near(unit.stop)[1])
        self._add(choice, (value.first, unit.stop), value.typed, spot=spot, near=state)
        return stop

    def _believed(self, choice: Choice, value: Value, last: Named) -> bool:
        """Return whether a further number is one of the name read last, by its size if need be."""
        if not choice.unit or choice.name is None:
            return False
        quantity = self.names.words.quantities[choice.name.quantity]
        far = outside(value, choice.unit, quantity)
        return last.sure or (quantity.typical is not None and far is not None and far <= _FAR)

    def _other_half(self, spot: Spot | None, index: int) -> Spot | None:
        """Return the place of ``165 wet`` after ``cyl 3 comp 118 dry``."""
        half = place_at(self.line, index, self.names)
        if spot is None or half is None or {half.text, spot.text.rpartition(" ")[2]} != _HALVES:
            return None
        return replace(half, text=f"{spot.text.rpartition(' ')[0]} {half.text}")

    def _last_of_chain(self, index: int) -> bool:
        """Return whether ``91 amb 68 vent`` goes on number by name until it ends in a name."""
        for _ in range(8):
            value = value_at(self.line, index)
            if value is None:
                return True
            unit = unit_at(self.line, value.stop, self.names)
            rows, size = self.names.names.at(self.line, unit.stop)
            if not rows:
                return False
            index = unit.stop + size
        return False

    def _by_unit(self, value: Value, unit: TypedUnit) -> int:
        """Read a number whose unit names the quantity, or asks for one."""
        key = next((u for u in unit.units if u in self.names.unit_names), None)
        if key is None and self._again(value, unit):
            return unit.stop
        if key is None:
            if set(unit.units) >= {"psi", "lb"}:
                self._question((value.first, unit.stop), f"{unit.raw}: pounds of what?",
                    (f"{value.typed} psi of a pressure", f"{value.typed} lb of weight"),
                )  # fmt: skip
                return unit.stop
            return 0
        before = self.line.low(value.first - 1)
        if key in {"mph", "km/h"} or before in {"at", "@"}:
            self._state(value, unit)
            return unit.stop
        row = Name(quantity=self.names.unit_names[key])
        choice = self._choose([row], Typed(value=value, unit=unit))
        if choice and choice.unit:
            self._add(choice, (value.first, unit.stop), value.typed)
        else:
            self._ask(choice, value.first, unit.stop)
        return unit.stop

    def _again(self, value: Value, unit: TypedUnit) -> bool:
        """Read ``iso 40k plugged, 6M unplugged``: the same quantity once more, by its unit."""
        last = self.out.found[-1] if self.out.found else None
        if last is None or not unit.units or last.first == value.first:
            return False
        if not self.line.same_statement(last.first, value.first):
            return False
        accepted = self.names.words.quantities[last.quantity].accepted
        fitting = [key for key in unit.units if key in accepted]
        if len(fitting) != 1 or self.line.clause[last.first] == self.line.clause[value.first]:
            return False
        choice = self._choose([Name(quantity=last.quantity)], Typed(value=value, unit=unit))
        if choice is None or not choice.unit:
            return False
        self._add(choice, (value.first, unit.stop), value.typed)
        return True

    def _again_signed(self, value: Value) -> bool:
        """Read ``LTFT +24 at idle, +3 at 2500 rpm``: a sign goes on with the signed quantity."""
        last = self.out.found[-1] if self.out.found else None
        if last is None or not value.signed or last.typed[:1] not in {"+", "-"}:
            return False
        if not self.line.same_statement(max(last.stop - 1, 0), value.first):
            return False
        choice = self._choose(
            [Name(quantity=last.quantity)],
            Typed(value=value, unit=unit_at(self.line, value.stop, self.names)),
        )
        if choice is None or not choice.unit:
            return False
        bank = self._before if self._before and self._before.text.startswith("bank") else None
        self._add(choice, (value.first, value.stop), value.typed, spot=bank)
        return True

    def _slashed(self, value: Value) -> int:
        """Ask about a bare ``36/190`` or ``12.1/9.8``."""
        if self.line.low(value.stop) != "/" or not self.line.glued(value.stop):
            return 0
        second = value_at(self.line, value.stop + 1)
        if second is None or value.low is None or second.low is None:
            return 0
        one, two = value.typed, second.typed
        if 5 <= second.low < value.low <= 16:
            options = (f"battery at rest {one} V, cranking {two} V",)
        elif 5 <= value.low <= 250 and value.low < second.low <= 600:
            options = (f"low side {one} psi, high side {two} psi",)
        else:
            options = (f"first {one}, then {two}",)
        self._question((value.first, second.stop), "two numbers without a name", options)
        return second.stop

    def _changes_to(self, index: int) -> int:
        """Read "drops to 20": a verb of change with a value and no name of its own."""
        if self.line.low(index) not in self.names.falls | self.names.rises:
            return 0
        at = index + 1 + (self.line.low(index + 1) == "to")
        value = value_at(self.line, at)
        if value is None or at == index + 1:
            return 0
        unit = unit_at(self.line, value.stop, self.names)
        if self.names.names.at(self.line, unit.stop)[0]:
            return 0
        self.out.bare.append(Bare(value=value, unit=unit, first=value.first, stop=unit.stop))
        return unit.stop
