"""Puts together what the grammars found in one text."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from kb.case.casefile import make_reading
from kb.case.grammar.marks import Line
from kb.case.grammar.names import Names
from kb.case.grammar.parsed import Parsed, Piece, Question, Refused, Unread
from kb.case.grammar.readings import Found
from kb.case.grammar.surroundings import Surroundings
from kb.case.model import Finding, Phase, Reading, ReadingSet, Symptom, Tried
from kb.errors import KBError


@dataclass(slots=True)
class _Sets:
    """Reading sets as they grow; one for each phase, state and finding."""

    rows: dict[tuple[Phase, tuple[str, ...], int | None], list[tuple[Reading, Found]]] = field(
        default_factory=dict
    )

    def add(
        self, key: tuple[Phase, tuple[str, ...], int | None], reading: Reading, found: Found
    ) -> None:
        """Add a reading to the set of its key."""
        self.rows.setdefault(key, []).append((reading, found))


class Assembly(Surroundings):
    """One text on its way to a Parsed."""

    def __init__(
        self, text: str, limit: int, *, names: Names, system: str | None, phase: Phase
    ) -> None:
        super().__init__(text, limit, names=names, system=system, phase=phase)
        self.questions: list[Question] = [*self.gathered.questions, *self.done.questions]
        self.refused: list[Refused] = list(self.gathered.refused)
        self.pieces: list[Piece] = []

    # --- readings ------------------------------------------------------------------------------

    def _reading(self, found: Found, *, typed: str | None = None) -> Reading | None:
        """Return the reading; a value that the limits refuse is shown as refused."""
        try:
            return make_reading(
                self.names.words, found.quantity, typed or found.typed, unit=found.unit,
                position=found.position,
            )  # fmt: skip
        except KBError as error:
            start, end = self.line.span(found.first, found.stop)
            self.refused.append(
                Refused(text=self.text[start:end], start=start, end=end, message=str(error))
            )
            return None

    def _place(self, found: Found, sets: _Sets) -> None:
        """Put a reading into the set of its phase, state and finding."""
        state, phase = self._state_of(found), self.phases[found.first]
        finding = self.done.finding_of(found)
        acting = finding is not None and self.done.acts(finding)
        if found.before is not None:
            before = self._reading(found, typed=found.before)
            if before:
                sets.add((phase, state, None), before, found)
        if phase is Phase.BEFORE and (acting or found.before is not None):
            phase = Phase.DURING
        reading = self._reading(found)
        if reading:
            sets.add((phase, state, finding), reading, found)

    def _reading_sets(self) -> tuple[ReadingSet, ...]:
        sets = _Sets()
        for found in self.gathered.found:
            if found not in self.done.used:
                self._place(found, sets)
        count = 0
        made = []
        for (phase, state, finding), rows in sets.rows.items():
            for _, found in rows:
                self._piece("reading", found.first, found.stop, index=count)
                count += 1
            readings = tuple(reading for reading, _ in rows)
            made.append(ReadingSet(phase=phase, state=state, readings=readings, finding=finding))
        return tuple(made)

    # --- pieces and the rest --------------------------------------------------------------------

    def _piece(self, kind: str, first: int, stop: int, *, index: int) -> None:
        start, end = self.line.span(first, stop)
        self._piece_at(kind, start, end, index=index)

    def _piece_at(self, kind: str, start: int, end: int, *, index: int) -> None:
        self.pieces.append(
            Piece(kind=kind, text=self.text[start:end], start=start, end=end, index=index)
        )

    def _add_pieces(self) -> None:
        for index, code in enumerate(self.done.kept_codes):
            self._piece("code", code.first, code.stop, index=index)
        if self.codes.scan_marks:
            self._piece("scan", *self.codes.scan_marks, index=0)
        for index, (first, stop) in enumerate(self.done.finding_marks):
            self._piece("finding", first, stop, index=index)
        for index, (first, stop) in enumerate(self.done.response_marks):
            self._piece("response", first, stop, index=index)
        for index, (first, stop) in enumerate(self.done.tried_marks):
            self._piece("tried", first, stop, index=index)

    def _symptoms(self) -> tuple[Symptom, ...]:
        """Return the symptoms, without nameless ones that only repeat what was read otherwise."""
        taken = [(piece.start, piece.end) for piece in self.pieces]
        kept: list[Symptom] = []
        for clause in self.clauses:
            other = any(start < clause.end and clause.start < end for start, end in taken)
            for row in clause.symptoms:
                if row.concept is not None or not other:
                    self._piece_at("symptom", clause.start, clause.end, index=len(kept))
                    kept.append(row)
        return tuple(kept)

    def _understood(self) -> list[tuple[int, int]]:
        spans = [(p.start, p.end) for p in self.pieces if p.kind != "symptom"]
        spans += [span for clause in self.clauses for span in clause.used]
        spans += [(row.start, row.end) for row in self.questions]
        spans += [(row.start, row.end) for row in self.refused]
        spans += [*self._state_spans, *self._phase_spans]
        spans += [self.line.span(first, stop) for first, stop in self.done.word_marks]
        return spans

    def _unread(self) -> tuple[Unread, ...]:
        line = self.line
        covered = _covered(line, self._understood())
        runs: list[list[int]] = []
        for index, mark in enumerate(line.marks):
            if index in covered or mark.kind in {"line", "arrow"}:
                continue
            if mark.kind == "sign" and not mark.raw.isalnum():
                continue
            if mark.low in self.names.stop:
                continue
            joined = runs and index - runs[-1][1] <= 1
            if joined and line.clause[index] == line.clause[runs[-1][1]]:
                runs[-1][1] = index
            else:
                runs.append([index, index])
        found = []
        for first, last in runs:
            start, end = line.span(first, last + 1)
            found.append(Unread(text=self.text[start:end], start=start, end=end))
        if len(self.text) > len(line.text):
            start, end = len(line.text), len(self.text)
            found.append(Unread(text=self.text[start:], start=start, end=end))
        return tuple(found)

    def parsed(self) -> Parsed:
        """Return everything that was read."""
        self.questions += self.codes.questions
        self.refused += self.codes.refused
        sets = self._reading_sets()
        self._add_pieces()
        symptoms = self._symptoms()
        unread = self._unread()
        findings: tuple[Finding, ...] = tuple(self.done.findings)
        tried: tuple[Tried, ...] = tuple(self.done.tried)
        return Parsed(
            text=self.text,
            symptoms=symptoms,
            reading_sets=sets,
            codes=tuple(found.code for found in self.done.kept_codes),
            scan=self.codes.scan,
            findings=findings,
            tried=tried,
            conditions=_unique(key for clause in self.clauses for key in clause.conditions),
            tokens=tuple(token for clause in self.clauses for token in clause.tokens),
            pieces=tuple(sorted(self.pieces, key=lambda piece: (piece.start, piece.end))),
            unread=unread,
            questions=tuple(sorted(self.questions, key=lambda row: row.start)),
            refused=tuple(sorted(self.refused, key=lambda row: row.start)),
        )


def _covered(line: Line, spans: Iterable[tuple[int, int]]) -> set[int]:
    covered: set[int] = set()
    for start, end in spans:
        at = line.at(start)
        at = max(at, 0)
        while at < len(line.marks) and line.marks[at].start < end:
            if line.marks[at].end > start:
                covered.add(at)
            at += 1
    return covered


def _unique(keys: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(keys))
