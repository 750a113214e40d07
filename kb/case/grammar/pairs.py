"""Two numbers under one name: "pressures 36/190", "trims +21/-2"."""

from collections.abc import Sequence

from kb.case.grammar.choose import Typed
from kb.case.grammar.names import Name
from kb.case.grammar.places import Spot
from kb.case.grammar.seek import Seeker
from kb.case.grammar.values import Value, unit_at, value_at


class PairReader(Seeker):
    """Reads two numbers with a slash between them, or asks which is which."""

    def _pair(self, index: int, rows: Sequence[Name], value: Value) -> int:
        """Read ``pressures 36/190``: the name says what the two numbers are."""
        keys = next(row.pair for row in rows if row.pair)
        unit = unit_at(self.line, value.stop, self.names)
        at = unit.stop + (self.line.low(unit.stop) in {"/", "and", ","})
        second = value_at(self.line, at)
        if second is None:
            return 0
        last = unit_at(self.line, second.stop, self.names)
        for key, one, typed in (
            (keys[0], value, unit if unit.units else last),
            (keys[1], second, last),
        ):
            choice = self._choose([Name(quantity=key)], Typed(value=one, unit=typed))
            if choice and choice.unit:
                self._add(choice, (index, last.stop), one.typed)
            else:
                self._ask(choice, index, last.stop)
        return last.stop

    def _two(
        self, index: int, rows: Sequence[Name], value: Value, *, second: Value, lead: Spot | None
    ) -> int:
        """Ask which of two numbers is which."""
        stop = unit_at(self.line, second.stop, self.names).stop
        one, two = value.typed, second.typed
        row = next((row for row in rows if row.quantity), None)
        places = self.names.words.quantities[row.quantity].positions if row else ()
        options: tuple[str, ...]
        if {"bank 1", "bank 2"} & set(places) and lead is None:
            options = (f"bank 1 {one}, bank 2 {two}", f"short-term {one}, long-term {two}")
        elif row and row.quantity.startswith("battery_voltage"):
            options = (f"at rest {one}, cranking {two}",)
        else:
            options = (f"first {one}, then {two}", f"{one} on one side, {two} on the other")
        self._question((index, stop), "two numbers: which is which?", options)
        return stop
