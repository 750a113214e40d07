"""Typed text to marks: words, numbers and signs with their places."""

import re
from bisect import bisect_right
from dataclasses import dataclass
from typing import Final

# Alternatives are tried in order; every repetition is bounded or over one class of characters, so
# that no input makes the search go back over itself.
_MARK: Final = re.compile(
    r"(?P<arrow>-{1,3}>|={1,2}>|→)"
    r"|(?P<blank>-{2,8})"
    r"|(?P<number>\d+(?:[.,]\d+)*|\.\d+)"
    r"|(?P<word>(?i:a/c|w/o|r&r|r&i)\b|(?i:w/)|[^\W\d_][\w'’]*)"
    r"|(?P<line>\n)"
    r"|(?P<sign>\S)"
)
_ENDS: Final = frozenset(";\n")
_BREAKS: Final = frozenset(",;\n.")


@dataclass(frozen=True, slots=True)
class Mark:
    """One word, number or sign; ``low`` is what the lists are searched for."""

    kind: str
    raw: str
    low: str
    start: int
    end: int


@dataclass(frozen=True, slots=True)
class Line:
    """A text as marks; ``statement`` and ``clause`` number the parts that marks stand in."""

    text: str
    marks: tuple[Mark, ...]
    statement: tuple[int, ...]
    clause: tuple[int, ...]
    clause_ends: tuple[int, ...]
    statement_ends: tuple[int, ...]

    def glued(self, index: int) -> bool:
        """Return whether mark ``index`` touches the mark before it."""
        return 0 < index < len(self.marks) and (
            self.marks[index].start == self.marks[index - 1].end
        )

    def low(self, index: int) -> str:
        """Return the lower-case text of mark ``index``, empty beyond either end."""
        return self.marks[index].low if 0 <= index < len(self.marks) else ""

    def kind(self, index: int) -> str:
        """Return the kind of mark ``index``, empty beyond either end."""
        return self.marks[index].kind if 0 <= index < len(self.marks) else ""

    def span(self, first: int, stop: int) -> tuple[int, int]:
        """Return the characters from mark ``first`` up to mark ``stop``, which is left out."""
        return self.marks[first].start, self.marks[stop - 1].end

    def at(self, offset: int) -> int:
        """Return the index of the last mark that starts at or before ``offset``."""
        return bisect_right(self.marks, offset, key=lambda mark: mark.start) - 1

    def clause_bounds(self, index: int) -> tuple[int, int]:
        """Return the first mark of the clause of mark ``index``, and the mark after its last."""
        number = self.clause[index]
        return (self.clause_ends[number - 1] if number else 0), self.clause_ends[number]

    def statement_end(self, index: int) -> int:
        """Return the mark after the last one of the statement of mark ``index``."""
        return self.statement_ends[self.statement[index]]

    def same_statement(self, first: int, second: int) -> bool:
        """Return whether two marks stand in one statement."""
        return self.statement[first] == self.statement[second]


def _split_list(raw: str) -> bool:
    # "178,172,118" is a list of three; "1,200" is one number.
    return raw.count(",") > 1


def _numbers(match: re.Match[str]) -> list[Mark]:
    raw, start = match.group(), match.start()
    if not _split_list(raw):
        return [Mark("number", raw, raw, start, match.end())]
    found, at = [], start
    for part in raw.split(","):
        found.append(Mark("number", part, part, at, at + len(part)))
        at += len(part) + 1
    return found


def _break_kind(marks: list[Mark], index: int, text: str) -> str:
    mark = marks[index]
    if mark.kind == "line" or mark.raw == ";":
        return "statement"
    if mark.raw == "." and (mark.end >= len(text) or text[mark.end].isspace()):
        return "statement"
    if mark.raw == "," or mark.low in {"but", "yet"}:
        return "clause"
    return ""


def read_marks(text: str) -> Line:
    """Return the marks of ``text`` with the numbers of their statements and clauses."""
    marks: list[Mark] = []
    for match in _MARK.finditer(text):
        kind = match.lastgroup or "sign"
        if kind == "number":
            marks += _numbers(match)
        else:
            raw = match.group()
            marks.append(Mark(kind, raw, raw.lower(), match.start(), match.end()))
    statements, clauses, statement, clause = [], [], 0, 0
    for index in range(len(marks)):
        kind = _break_kind(marks, index, text)
        statement += kind == "statement"
        clause += bool(kind)
        statements.append(statement)
        clauses.append(clause)
    return Line(
        text, tuple(marks), tuple(statements), tuple(clauses), _ends(clauses), _ends(statements)
    )


def _ends(numbers: list[int]) -> tuple[int, ...]:
    """Return for each number in a rising list the index after its last place."""
    ends = [0] * (numbers[-1] + 1 if numbers else 1)
    for index, number in enumerate(numbers):
        ends[number] = index + 1
    for number in range(1, len(ends)):
        ends[number] = max(ends[number], ends[number - 1])
    return tuple(ends)
