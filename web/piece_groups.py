"""The pieces of a job under their headings, each with all that the page's chip of it shows."""

from dataclasses import dataclass, replace
from typing import Any, Final

from kb.case.amend import pieces_of
from kb.case.amend_readings import readings_of
from kb.case.model import Job, ReadingSet
from kb.case.terms import Vocabulary
from web.wording import set_words

_TITLES: Final = {
    "symptom": "Symptoms",
    "finding": "Checks, in order",
    "response": "What the checks changed",
    "code": "Codes",
    "scan": "Scanned for codes",
    "tried": "Did not cure",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Piece:
    """A piece of a job and all that its chip follows from, besides the trade's words.

    ``index`` counts the pieces of its kind; ``taken`` is the set of a reading, without readings;
    ``check`` that of a response.
    """

    kind: str
    index: int
    row: Any
    taken: ReadingSet | None = None
    check: str = ""

    @property
    def id(self) -> str:
        """Return the name of the piece on the page."""
        return f"{self.kind}-{self.index}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Pieces under one heading."""

    title: str
    pieces: tuple[Piece, ...]


def groups_of(job: Job, words: Vocabulary) -> tuple[Group, ...]:
    """Return every piece of a job, symptoms first, readings by their sets."""
    symptoms, *rest = (_group(job, kind) for kind in _TITLES)
    return tuple(group for group in (symptoms, *_readings(job, words), *rest) if group.pieces)


def _group(job: Job, kind: str) -> Group:
    pieces = [Piece(kind=kind, index=at, row=row) for at, row in enumerate(pieces_of(job, kind))]
    if kind == "response":
        checks = (row.check for row in job.findings for _ in row.responses)
        named = zip(pieces, checks, strict=True)
        pieces = [replace(piece, check=check) for piece, check in named]
    return Group(title=_TITLES[kind], pieces=tuple(pieces))


def _readings(job: Job, words: Vocabulary) -> tuple[Group, ...]:
    """Return the readings by when they were taken; sets of several lines stand together."""
    pieces: dict[str, list[Piece]] = {}
    for index, (group, row) in enumerate(readings_of(job)):
        title = f"Readings, {set_words(group, words)}"
        taken = ReadingSet(phase=group.phase, state=group.state)
        made = Piece(kind="reading", index=index, row=row, taken=taken)
        pieces.setdefault(title, []).append(made)
    return tuple(Group(title=title, pieces=tuple(rows)) for title, rows in pieces.items())
