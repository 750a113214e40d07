"""Findings with their outcome and responses, and parts tried, from the deeds of a line."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from kb.case.casefile import make_reading
from kb.case.grammar.actions import Deed, find_deeds
from kb.case.grammar.codes import FoundCode, FoundCodes
from kb.case.grammar.durations import AFTERWARDS, HOLDS, minutes_at
from kb.case.grammar.marks import Line
from kb.case.grammar.names import Names
from kb.case.grammar.outcomes import NEGATED, Findings, OutcomeReader
from kb.case.grammar.readings import Bare, Found, Gathered
from kb.case.grammar.tried import read_tried
from kb.case.model import Finding, Reading, Response
from kb.errors import KBError

_COUNTS: Final = {"twice": 2, "thrice": 3}
_LINKS: Final = frozenset(
    {"with", "w/", "to", "on", "the", "in", "of", "from", "a", "at", "into", "for", "and"}
)


class _Reader(OutcomeReader):
    """Reads the deeds of one line."""

    def run(self) -> Findings:
        deeds = find_deeds(self.line, self.stems, self.actions)
        self.out.kept_codes = [
            code for code in self.codes.codes if not self._is_answer(code, deeds)
        ]
        for deed in deeds:
            self._finding(deed)
        for row in read_tried(self.line, self.stems, actions=self.actions, deeds=deeds):
            self.out.tried.append(row[0])
            self.out.tried_marks.append(row[1])
        return self.out

    def _is_answer(self, code: FoundCode, deeds: Sequence[Deed]) -> bool:
        # The code after an action is what the action did, not what the car came in with.
        return any(
            deed.stop <= code.first < deed.end
            and self._watched(deed)
            and code is not self._before_after(deed)[0]
            for deed in deeds
        )

    def _watched(self, deed: Deed) -> bool:
        check = self.names.words.checks[deed.action.check]
        return check.is_action or not {"fault_moved", "back_at_once"}.isdisjoint(check.outcomes)

    # --- one finding ---------------------------------------------------------------------------

    def _finding(self, deed: Deed) -> None:
        term = self.names.words.checks[deed.action.check]
        index = len(self.out.findings)
        self.verbs, self.still = {}, {}
        responses = self._responses(deed)
        change = self._change(deed)
        outcome = self._outcome(deed, responses, change)
        if change is not None:
            responses.append(Response(change=change))
        if term.is_action:
            self.out.acting.add(index)
        self._own_readings(deed, index)
        note = self._note(deed)
        self.out.findings.append(
            Finding(
                check=deed.action.check, outcome=outcome, subject=self._subject(deed),
                repeats=self._repeats(deed), minutes=self._minutes(deed), note=note,
                responses=tuple(responses),
            )
        )  # fmt: skip
        self.out.finding_marks.append((deed.first, deed.stop))

    def _note(self, deed: Deed) -> str:
        codes = [code.code.code for code in self.codes.codes if deed.stop <= code.first < deed.end]
        return f"then {', '.join(codes)}" if codes else ""

    def _own_readings(self, deed: Deed, index: int) -> None:
        clause, quantities = self.line.clause[deed.first], self.names.words.quantities
        for found in self.gathered.found:
            after = found.first > deed.first or quantities[found.quantity].group != "conditions"
            if found not in self.out.used and self.line.clause[found.first] == clause and after:
                self.out.owners.setdefault(found.first, index)

    # --- what the numbers did ------------------------------------------------------------------

    def _responses(self, deed: Deed) -> list[Response]:
        made = []
        for found in self.gathered.found:
            if (
                deed.begin <= found.first < deed.end
                and found.changed
                and found not in self.out.used
            ):
                response = self._response(found, found.before)
                if response:
                    made.append(response)
                    if response.before is None and found.falls is not None:
                        self.verbs[found.quantity] = "falls" if found.falls else "rises"
                    self.out.used.append(found)
                    self.out.response_marks.append((found.first, found.stop))
        for bare in self.gathered.bare:
            if deed.begin <= bare.first < deed.end:
                made += self._bare(bare)
        return made

    def _earlier(self, found: Found) -> str | None:
        """Return the value of the same quantity typed before an action, in the same unit."""
        for other in reversed(self.gathered.found):
            if (
                other.first < found.first
                and (other.quantity, other.position) == (found.quantity, found.position)
                and other.unit == found.unit
            ):
                return other.typed
        return None

    def _response(self, found: Found, before: str | None) -> Response | None:
        before = before or self._earlier(found)
        try:
            after_read = self._read(found, found.typed)
            before_read = self._read(found, before) if before else None
        except KBError:
            return None
        return Response(
            quantity=found.quantity, position=found.position, before_typed=before,
            after_typed=found.typed, unit=found.unit, after=after_read.canonical,
            before=before_read.canonical if before_read else None,
        )  # fmt: skip

    def _read(self, found: Found, typed: str) -> Reading:
        return make_reading(
            self.names.words, found.quantity, typed, unit=found.unit, position=found.position
        )

    def _bare(self, bare: Bare) -> list[Response]:
        """Read ``-> 47``: the last value before it that an action can change."""
        last = self.out.last_before(self.gathered, bare)
        if last is None:
            return []
        found = replace(
            last, typed=bare.value.typed, first=bare.first, stop=bare.stop, changed=True
        )
        units = bare.unit.units
        if units and last.unit not in units:
            return self._in_other_unit(found, bare, units)
        response = self._response(found, last.typed)
        if response is None:
            return []
        self.out.response_marks.append((bare.first, bare.stop))
        self.out.answered.append(bare)
        return [response]

    def _in_other_unit(self, found: Found, bare: Bare, units: Sequence[str]) -> list[Response]:
        """Read ``1.2 A ... drops to 18 mA``: the value before is kept as a reading only."""
        accepted = self.names.words.quantities[found.quantity].accepted
        unit = next(key for key in units if key in accepted)
        before = self._read(found, self._typed_before(bare))
        response = self._response(replace(found, unit=unit), None)
        if response is None or response.after is None or before.canonical is None:
            return []
        self.verbs[found.quantity] = "falls" if response.after < before.canonical else "rises"
        self.out.response_marks.append((bare.first, bare.stop))
        self.out.answered.append(bare)
        return [response]

    def _typed_before(self, bare: Bare) -> str:
        last = self.out.last_before(self.gathered, bare)
        return last.typed if last else ""

    # --- subject and count ---------------------------------------------------------------------

    def _subject(self, deed: Deed) -> str | None:
        """Return what was acted on: the words between the action and the answer to it."""
        if self.names.words.checks[deed.action.check].subject is None:
            return None
        first = stop = deed.stop
        while stop < deed.end and stop - first < 6:
            low = self.line.low(stop)
            if low in {",", ":", "(", "-"} or self.line.kind(stop) in {"arrow", "line"}:
                break
            if self._answers(stop, deed):
                break
            stop += 1
        while first < stop and self.line.low(first) in _LINKS:
            first += 1
        while stop > first and self.line.low(stop - 1) in _LINKS:
            stop -= 1
        if first >= stop:
            return None
        self.out.word_marks.append((first, stop))
        start, end = self.line.span(first, stop)
        return self.line.text[start:end]

    def _answers(self, index: int, deed: Deed) -> bool:
        if any(found.first <= index < found.stop for found in self.gathered.found):
            return True
        if self.actions.change.at(self.stems, index, stop=deed.end, gap=0):
            return True
        if self.stems[index] in NEGATED:
            return True
        return any(self._phrase(key, index, deed.end) for key, _ in deed.action.outcomes)

    def _minutes(self, deed: Deed) -> float | None:
        """Return the minutes of ``smoke test 15 min`` and ``pulled vacuum, held 20 min``."""
        for index in range(deed.begin, deed.end):
            minutes, stop = minutes_at(self.line, index, self.names)
            own = self.line.clause[index] == self.line.clause[deed.first]
            before = self.line.low(index - 1) if index else ""
            if minutes is None or not (own or before in HOLDS) or before in AFTERWARDS:
                continue
            if any(found.first <= index < found.stop for found in self.gathered.found):
                continue
            self.out.word_marks.append((index, stop))
            return minutes
        return None

    def _repeats(self, deed: Deed) -> int:
        """Return how often: ``x2``, ``2x``, ``twice``, ``3 of 3``, ``3 times``."""
        line = self.line
        for index in range(deed.begin, deed.end):
            count = _count_at(line, index)
            if count:
                self.out.word_marks.append((index, min(index + count[1], deed.end)))
                return count[0]
        return 1


def _count_at(line: Line, index: int) -> tuple[int, int] | None:
    low = line.low(index)
    if low in _COUNTS:
        return _COUNTS[low], 1
    if low[:1] == "x":
        glued, apart = low[1:], line.low(index + 1)
        if not glued:
            return (int(apart), 2) if _small(apart) else None
        return (int(glued), 1) if _small(glued) else None
    return _number_of_times(line, index)


def _number_of_times(line: Line, index: int) -> tuple[int, int] | None:
    low, following = line.low(index), line.low(index + 1)
    if not _small(low):
        return None
    if following in {"x", "times"}:
        return int(low), 2
    return (int(low), 3) if following == "of" and line.low(index + 2) == low else None


def _small(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= 2 and int(text) > 0


def read_findings(line: Line, *, names: Names, codes: FoundCodes, gathered: Gathered) -> Findings:
    """Return the findings, the responses and the parts tried of a line."""
    return _Reader(line, names, codes=codes, gathered=gathered).run()
