"""A typed line as the page shows it: what was understood is marked, what was not is underlined."""

from collections.abc import Callable, Container, Iterable, Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Final

from kb.case.model import Job, Reading
from kb.case.parse import Parsed, Piece

# What stands above what where two lie over each other: a word that was not understood stays seen
# inside a symptom that was.
_RANK: Final = {"plain": 0, "symptom": 1, "piece": 2, "refused": 3, "asked": 3, "unread": 4}


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Some characters of a line; ``kind`` is plain, piece, asked, refused or unread."""

    text: str
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TypedLine:
    """A typed line as it was read, and which of its pieces are still in the job.

    A piece that was taken out of the job is plain again.
    """

    read: Parsed
    there: tuple[bool, ...]

    @property
    def follows_from(self) -> tuple[str, tuple[bool, ...]]:
        """What the line as shown follows from, besides the trade's words."""
        return self.read.text, self.there

    @property
    def stretches(self) -> tuple[Stretch, ...]:
        """The line in stretches that together are the line, character by character."""
        return _stretches(self)


def typed_lines(reads: Iterable[Parsed], job: Job) -> tuple[TypedLine, ...]:
    """Return the typed lines of a job as the page shows them."""
    left = _left_in(job)
    return tuple(
        TypedLine(read=read, there=tuple(_is_there(row, read, left) for row in read.pieces))
        for read in reads
    )


def _stretches(line: TypedLine) -> tuple[Stretch, ...]:
    text = line.read.text
    # One name a character: the number of the span tells neighbours of one kind apart.
    names: list[tuple[str, int]] = [("plain", 0)] * len(text)
    for number, (kind, start, end) in enumerate(_spans(line), 1):
        for at in range(start, min(end, len(names))):
            if _RANK[kind] >= _RANK[names[at][0]]:
                names[at] = (kind, number)
    made, at = [], 0
    for (kind, _), run in groupby(names):
        size = len(list(run))
        shown = "piece" if kind == "symptom" else kind
        made.append(Stretch(text=text[at : at + size], kind=shown))
        at += size
    return tuple(made)


def _spans(line: TypedLine) -> list[tuple[str, int, int]]:
    read = line.read
    spans = [
        ("symptom" if row.kind == "symptom" else "piece", row.start, row.end)
        for row, there in zip(read.pieces, line.there, strict=True)
        if there
    ]
    spans += [("refused", row.start, row.end) for row in read.refused]
    spans += [("asked", row.start, row.end) for row in read.questions]
    return [*spans, *(("unread", row.start, row.end) for row in read.unread)]


def _readings(source: Job | Parsed) -> list[Reading]:
    return [row for group in source.reading_sets for row in group.readings]


def _left_in(job: Job) -> dict[str, Container[Any]]:
    """Return what tells by its kind whether a piece that was read is still in a job."""
    return {
        "symptom": {row.text for row in job.symptoms},
        "reading": {row.typed for row in _readings(job)},
        "code": job.codes,
        "scan": () if job.scan is None else (True,),
        "finding": {row.check for row in job.findings},
        "tried": job.tried,
    }


def _is_there(piece: Piece, read: Parsed, left: Mapping[str, Container[Any]]) -> bool:
    told = _TELLS.get(piece.kind)
    return told is None or told(read, piece.index) in left[piece.kind]


_TELLS: Final[dict[str, Callable[[Parsed, int], Any]]] = {
    "symptom": lambda read, at: read.symptoms[at].text,
    "reading": lambda read, at: _readings(read)[at].typed,
    "code": lambda read, at: read.codes[at],
    "scan": lambda read, at: True,
    "finding": lambda read, at: read.findings[at].check,
    "tried": lambda read, at: read.tried[at],
}
