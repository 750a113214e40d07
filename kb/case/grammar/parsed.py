"""What one typed text holds: the values understood, the words unread, the questions back."""

from dataclasses import dataclass

from kb.case.model import Code, Finding, ReadingSet, Scan, Symptom, Tried


@dataclass(frozen=True, slots=True, kw_only=True)
class Unread:
    """Words that were understood nowhere; they stay in the text and are shown."""

    text: str
    start: int
    end: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """An ambiguity that is asked back, never guessed: ``options`` are the answers that fit."""

    text: str
    start: int
    end: int
    why: str
    options: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """A value that cannot be right; ``message`` names the likely mistake."""

    text: str
    start: int
    end: int
    message: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """Where an understood value stands: ``kind`` and ``index`` point into ``Parsed``.

    ``kind`` is symptom, reading, code, scan, finding, tried or response. The index of a reading
    counts through all reading sets in order, that of a response through all findings.
    """

    kind: str
    text: str
    start: int
    end: int
    index: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Parsed:
    """Everything that was read from ``text``, which is kept unchanged."""

    text: str
    symptoms: tuple[Symptom, ...] = ()
    reading_sets: tuple[ReadingSet, ...] = ()
    codes: tuple[Code, ...] = ()
    scan: Scan | None = None
    findings: tuple[Finding, ...] = ()
    tried: tuple[Tried, ...] = ()
    conditions: tuple[str, ...] = ()
    tokens: tuple[str, ...] = ()
    pieces: tuple[Piece, ...] = ()
    unread: tuple[Unread, ...] = ()
    questions: tuple[Question, ...] = ()
    refused: tuple[Refused, ...] = ()
