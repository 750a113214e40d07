"""What a text says about its readings: their state, their phase, the system they belong to."""

from dataclasses import replace
from typing import Final

from kb.case.clauses import Clause, read_clauses
from kb.case.grammar.codes import FoundCodes, read_codes
from kb.case.grammar.durations import minutes_at
from kb.case.grammar.findings import read_findings
from kb.case.grammar.marks import Line, read_marks
from kb.case.grammar.names import Names
from kb.case.grammar.near import RIVALS, near_state
from kb.case.grammar.outcomes import Findings
from kb.case.grammar.readings import Found, Gathered, ReadingScanner
from kb.case.grammar.values import Context, unit_at
from kb.case.model import Phase
from kb.case.term_rows import GROUPS_OF_SYSTEM

# "No crank" is no state in which something was read.
_DENIALS: Final = frozenset({"no", "not", "wont", "won't", "doesn't", "doesnt", "never"})
_NO_CRANK: Final = frozenset({"no_crank", "clicks_no_crank", "no_crank_sometimes"})
# Characters read at once; no line of a job sheet is as long (our choice).
_STRETCH: Final = 1_500


class Surroundings:
    """One text with all that its grammars found."""

    def __init__(
        self, text: str, limit: int, *, names: Names, system: str | None, phase: Phase
    ) -> None:
        self.text = text
        self.names = names
        self.phase = phase
        self.line: Line = read_marks(text[:limit])
        self.clauses: tuple[Clause, ...] = _clauses(text[:limit], names)
        self.codes: FoundCodes = read_codes(self.line, names)
        self.states, self._state_spans = self._clause_states()
        self.phases, self._phase_spans = self._statement_phases()
        scanner = ReadingScanner(self.line, names, self._context(system))
        self.gathered: Gathered = scanner.run(frozenset(self.codes.taken))
        self._add_typed_states()
        self.done: Findings = read_findings(
            self.line, names=names, codes=self.codes, gathered=self.gathered
        )
        self._add_bare()
        self._lending = self._lending_clauses()

    # --- what the line says about its readings -------------------------------------------------

    def _context(self, system: str | None) -> Context:
        groups = set(GROUPS_OF_SYSTEM.get(system or "", ()))
        units: set[str] = set()
        quantities = self.names.words.quantities
        for index in range(len(self.line.marks)):
            rows, _ = self.names.names.at(self.line, index)
            sure = [row for row in rows if row.quantity and not row.weak and not row.needs_unit]
            if len(rows) == 1 and sure and not sure[0].groups:
                groups.add(quantities[sure[0].quantity].group)
            if self.line.kind(index) == "number":
                typed, _ = self.names.units_at(self.line, index + 1)
                if len(typed) == 1:
                    units.add(typed[0])
        states = {key for keys in self.states.values() for key in keys} - self._owned_states()
        if self._after_minutes():
            states.add("after_minutes")
        return Context(
            groups=frozenset(groups - {"conditions"}),
            states=frozenset(states),
            kinds=frozenset(units),
        )

    def _after_minutes(self) -> bool:
        """Return whether the line says "after 45 min" or "after 1 hr"."""
        return any(
            mark.low == "after" and minutes_at(self.line, index + 1, self.names)[0] is not None
            for index, mark in enumerate(self.line.marks[:-1])
        )

    def _owned_states(self) -> set[str]:
        """Return the states that stand only right behind a number: they say nothing of others."""
        line, names = self.line, self.names
        owned: dict[int, str] = {}
        for index in range(len(line.marks)):
            if line.kind(index) == "number":
                near = near_state(line, unit_at(line, index + 1, names).stop, names)
                if near:
                    owned[near.first] = near.state
        free = {
            rows[0]
            for index in range(len(line.marks))
            if index not in owned and (rows := names.states.at(line, index)[0])
        }
        return (set(owned.values()) & RIVALS) - free

    def _clause_states(self) -> tuple[dict[int, list[str]], list[tuple[int, int]]]:
        states: dict[int, list[str]] = {}
        spans: list[tuple[int, int]] = []
        line = self.line
        for clause in self.clauses:
            at = line.at(max(clause.start, line.marks[0].start)) if line.marks else -1
            said = _taken_under(clause)
            if at >= 0 and said:
                inside = _first_inside(line, at, clause.start)
                states.setdefault(line.clause[inside], []).extend(said)
        index = 0
        while index < len(line.marks):
            rows, size = self.names.states.at(line, index)
            denied = index > 0 and line.low(index - 1) in _DENIALS
            if rows and not denied and line.kind(index + size) != "number":
                states.setdefault(line.clause[index], []).append(rows[0])
                spans.append(line.span(index, index + size))
            index += max(size, 1)
        return states, spans

    def _statement_phases(self) -> tuple[list[Phase], list[tuple[int, int]]]:
        """Return the phase at every mark: a phase word holds to the end of its statement."""
        phases: list[Phase] = []
        spans: list[tuple[int, int]] = []
        line, now = self.line, self.phase
        for index in range(len(line.marks)):
            if index and line.statement[index] != line.statement[index - 1]:
                now = self.phase
            rows, size = self.names.phases.at(line, index)
            if not rows and line.low(index) in {"before", "after", "during"}:
                rows = (line.low(index),) if self._named_next(index) else ()
                size = 1
            if rows:
                now = Phase(rows[0])
                spans.append(line.span(index, index + size))
            phases.append(now)
        return phases, spans

    def _named_next(self, index: int) -> bool:
        # "after vent 44" is a phase, "after 45 min" is a time.
        return bool(self.names.names.at(self.line, index + 1)[0])

    def _add_typed_states(self) -> None:
        for text, first, stop in self.gathered.states:
            self.states.setdefault(self.line.clause[first], []).append(text)
            self._state_spans.append(self.line.span(first, stop))

    def _add_bare(self) -> None:
        """Turn "drops to 20" without an action into a reading of the quantity before it."""
        for bare in self.gathered.bare:
            last = self.done.last_before(self.gathered, bare)
            if last is None or bare in self.done.answered:
                continue
            self.gathered.found.append(
                replace(last, typed=bare.value.typed, first=bare.first, stop=bare.stop,
                        changed=True, before=None)
            )  # fmt: skip

    def _state_of(self, found: Found) -> tuple[str, ...]:
        """Return the state of a reading: its own, its clause's, else its statement's."""
        line, mark = self.line, found.first
        own = self.states.get(line.clause[mark], [])
        if found.near and found.near not in own:
            own = [*own, found.near]
        if own:
            others = (
                {
                    row.near
                    for row in self.gathered.found
                    if line.clause[row.first] == line.clause[mark]
                }
                - {found.near}
                if found.near
                else set()
            )
            return tuple(dict.fromkeys(key for key in own if key not in others))
        lending = self._lending.get(line.statement[mark], [])
        near = [row for row in lending if row <= line.clause[mark]]
        chosen = next(iter((near[-1:] or lending)[:1]), None)
        return tuple(dict.fromkeys(self.states[chosen])) if chosen is not None else ()

    def _lending_clauses(self) -> dict[int, list[int]]:
        """Return the clauses of each statement whose state holds for its other clauses too.

        The conditions of a complaint are not those of a reading in the next clause.
        """
        complaints = {self._clause_of(row) for row in self.clauses if row.symptoms}
        rows: dict[int, list[int]] = {}
        for clause in sorted(self.states):
            if clause not in complaints:
                statement = self.line.statement[self.line.clause_ends[clause] - 1]
                rows.setdefault(statement, []).append(clause)
        return rows

    def _clause_of(self, row: Clause) -> int:
        at = self.line.at(row.start)
        return self.line.clause[_first_inside(self.line, max(at, 0), row.start)]


def _taken_under(clause: Clause) -> tuple[str, ...]:
    """Return the conditions under which readings beside a clause can have been taken.

    Nothing is read while cranking on a car that does not crank.
    """
    stands_still = any(row.concept in _NO_CRANK for row in clause.symptoms)
    return tuple(key for key in clause.conditions if not (stands_still and key == "cranking"))


def _first_inside(line: Line, at: int, start: int) -> int:
    """Return the first mark of a clause that is not its leading comma."""
    while at + 1 < len(line.marks) and (
        line.marks[at].start < start or line.low(at) in {",", ";", ".", "\n"}
    ):
        at += 1
    return at


def _clauses(text: str, names: Names) -> tuple[Clause, ...]:
    """Return the clauses of a text; a very long one is read in stretches, to bound the work."""
    found: list[Clause] = []
    begin = 0
    while begin < len(text):
        end = _stretch_end(text, begin)
        for row in read_clauses(text[begin:end], names.words):
            used = tuple((first + begin, stop + begin) for first, stop in row.used)
            found.append(replace(row, start=row.start + begin, end=row.end + begin, used=used))
        begin = end
    return tuple(found)


def _stretch_end(text: str, begin: int) -> int:
    end = begin + _STRETCH
    if end >= len(text):
        return len(text)
    for mark in ("\n", ";", ",", " "):
        at = text.rfind(mark, begin + 1, end)
        if at > begin:
            return at
    return end
