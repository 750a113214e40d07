"""What came of an action: by its code, by its words, by its numbers."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

from kb.case.grammar.actions import CHANGES, Actions, Deed, actions_for, stem_of
from kb.case.grammar.codes import FoundCode, FoundCodes
from kb.case.grammar.marks import Line
from kb.case.grammar.names import Names
from kb.case.grammar.parsed import Question
from kb.case.grammar.readings import Bare, Found, Gathered
from kb.case.model import Change, Finding, Response, Tried

NEGATED: Final = frozenset({"no", "not", "without", "never", "didnt", "doesnt", "wont", "isnt"})

_BECAME: Final = frozenset({"now", "to", "became", "then", "moved", "changed", "turned", "went"})


@dataclass(slots=True)
class Findings:
    """Findings and parts tried with their marks; ``used`` are values that became responses."""

    findings: list[Finding] = field(default_factory=list)
    finding_marks: list[tuple[int, int]] = field(default_factory=list)
    response_marks: list[tuple[int, int]] = field(default_factory=list)
    word_marks: list[tuple[int, int]] = field(default_factory=list)
    tried: list[Tried] = field(default_factory=list)
    tried_marks: list[tuple[int, int]] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    kept_codes: list[FoundCode] = field(default_factory=list)
    used: list[Found] = field(default_factory=list)
    owners: dict[int, int] = field(default_factory=dict)
    acting: set[int] = field(default_factory=set)
    answered: list[Bare] = field(default_factory=list)
    line: Line | None = None
    names: Names | None = None

    def last_before(self, gathered: Gathered, bare: Bare) -> Found | None:
        """Return the last value before ``bare`` that an action can change."""
        if self.line is None or self.names is None:
            return None
        quantities = self.names.words.quantities
        near = [
            found
            for found in gathered.found
            if found.first < bare.first
            and self.line.same_statement(found.first, bare.first)
            and quantities[found.quantity].group != "conditions"
            and self._same_kind(found, bare)
        ]
        return near[-1] if near else None

    def _same_kind(self, found: Found, bare: Bare) -> bool:
        if self.names is None or not bare.unit.units:
            return True
        accepted = self.names.words.quantities[found.quantity].accepted
        return not set(bare.unit.units).isdisjoint(accepted)

    def finding_of(self, found: Found) -> int | None:
        """Return the index of the finding that a reading belongs to."""
        return self.owners.get(found.first)

    def acts(self, finding: int) -> bool:
        """Return whether a finding is an action whose response is watched."""
        return finding in self.acting


class OutcomeReader:
    """Decides outcomes from the closed list of each check."""

    def __init__(self, line: Line, names: Names, *, codes: FoundCodes, gathered: Gathered) -> None:
        self.line = line
        self.names = names
        self.codes = codes
        self.gathered = gathered
        self.actions: Actions = actions_for(names.words)
        self.stems: list[str] = [stem_of(mark.low) for mark in line.marks]
        self.out = Findings(line=line, names=names)
        self.verbs: dict[str, str] = {}
        self.still: dict[str, str] = {}

    def _spans(self, deed: Deed) -> list[tuple[int, int]]:
        return [(deed.stop, deed.end), (deed.begin, deed.first), (deed.first, deed.stop)]

    def _outcome(self, deed: Deed, responses: list[Response], change: Change | None) -> str:
        for begin, end in self._spans(deed):
            if self._is_not_done(begin, end):
                return "not_done"
        moved = self._by_code(deed)
        if moved:
            return moved
        spoken = self._spoken(deed)
        if spoken:
            return spoken
        counted = self._by_numbers(deed, responses)
        if counted:
            return counted
        return deed.action.changes.get(change, "unclear") if change else "unclear"

    def _is_not_done(self, begin: int, end: int) -> bool:
        phrases = self.actions.not_done
        return any(phrases.at(self.stems, index, stop=end, gap=0) for index in range(begin, end))

    def _spoken(self, deed: Deed) -> str | None:
        """Return the outcome that the words decide; more words win, then the earlier ones."""
        for key, outcome in deed.action.outcomes:
            for begin, end in self._spans(deed):
                for index in range(begin, end):
                    stop = self._phrase(key, index, end)
                    if stop and not self._negated(key, index, begin):
                        self.out.word_marks.append((index, stop))
                        return outcome
        return None

    def _phrase(self, key: tuple[str, ...], index: int, end: int) -> int:
        at = index
        for word in key:
            while at < min(end, index + len(key) + 1) and self.stems[at] != word and at > index:
                at += 1
            if at >= end or self.stems[at] != word:
                return 0
            at += 1
        return at

    def _negated(self, key: tuple[str, ...], index: int, begin: int) -> bool:
        if key[0] in NEGATED:
            return False
        return any(self.stems[at] in NEGATED for at in range(max(begin, index - 2), index))

    def _change(self, deed: Deed) -> Change | None:
        for begin, end in self._spans(deed)[:2]:
            best: tuple[int, int, int, int] | None = None
            for index in range(begin, end):
                for value, stop, size in self.actions.change.at(self.stems, index, stop=end, gap=0):
                    if self._negated((self.stems[index],), index, begin):
                        continue
                    if best is None or size > best[2]:
                        best = (value, index, size, stop)
            if best:
                self.out.word_marks.append((best[1], best[3]))
                change = CHANGES[best[0]]
                return None if change is Change.SAME and self._of_value(best[1]) else change
        return None

    def _of_value(self, index: int) -> bool:
        """Note ``vent same``: one quantity stayed, which is no answer about the fault."""
        rows, size = self.names.names.at(self.line, index - 1) if index else ((), 0)
        keys = [row.quantity for row in rows if row.quantity]
        if size != 1 or len(keys) != 1:
            return False
        self.still[keys[0]] = "same"
        return True

    def _by_code(self, deed: Deed) -> str | None:
        """Return moved or stayed when a swap was answered by a code."""
        if "fault_moved" not in self.names.words.checks[deed.action.check].outcomes:
            return None
        after = [c for c in self.codes.codes if deed.stop <= c.first < deed.end]
        before = [c for c in self.codes.codes if c.first < deed.first]
        if not after:
            return None
        for code in after:
            self.out.response_marks.append((code.first, code.stop))
        first = before[-1] if before else self._before_after(deed)[0]
        if first is None:
            return None
        same = after[-1].code.code == first.code.code
        return "fault_stayed" if same else "fault_moved"

    def _before_after(self, deed: Deed) -> tuple[FoundCode | None, FoundCode | None]:
        """Return both codes of ``swapped coils, P0302 now P0305``; None where it is not so."""
        codes = [c for c in self.codes.codes if deed.begin <= c.first < deed.end]
        if len(codes) != 2 or any(c.first < deed.first for c in self.codes.codes):
            return None, None
        between = range(codes[0].first, codes[1].first)
        if not any(self.line.low(at) in _BECAME or self.line.kind(at) == "arrow" for at in between):
            return None, None
        return codes[0], codes[1]

    def _by_numbers(self, deed: Deed, responses: list[Response]) -> str | None:
        """Return the one outcome that agrees with every movement; ask where several do."""
        seen = {
            row.quantity: move
            for row in responses
            if row.quantity and (move := self._movement(row)) is not None
        }
        seen = {**self.still, **seen}
        if not seen or not deed.action.moves:
            return None
        fitting = [
            outcome
            for outcome, moves in deed.action.moves.items()
            if set(moves) & set(seen)
            and all(moves.get(key, move) == move for key, move in seen.items())
        ]
        if len(fitting) == 1:
            return fitting[0]
        if fitting:
            self._ask_outcome(deed, fitting)
        return None

    def _movement(self, row: Response) -> str | None:
        if row.before is None or row.after is None or row.quantity is None:
            return self.verbs.get(row.quantity or "")
        quantity = self.names.words.quantities[row.quantity]
        if abs(row.after - row.before) <= quantity.likeness_tolerance(row.before):
            return "same"
        return "falls" if row.after < row.before else "rises"

    def _ask_outcome(self, deed: Deed, fitting: Sequence[str]) -> None:
        start, end = self.line.span(deed.first, deed.stop)
        self.out.questions.append(
            Question(
                text=self.line.text[start:end], start=start, end=end,
                why=f"{self.names.words.check_name(deed.action.check)}: what came of it?",
                options=tuple(fitting),
            )
        )  # fmt: skip
