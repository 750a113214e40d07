"""A typed line as the page shows it: what was understood is marked, what was not is underlined."""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Final

from kb.case.model import Job
from kb.case.parse import Parsed, Piece

# What stands above what where two lie over each other: a word that was not understood stays seen
# inside a symptom that was.
_RANK: Final = {"plain": 0, "symptom": 1, "piece": 2, "refused": 3, "asked": 3, "unread": 4}


@dataclass(frozen=True, slots=True, kw_only=True)
class Stretch:
    """Some characters of a line; ``kind`` is plain, piece, asked, refused or unread."""

    text: str
    kind: str


def stretches(read: Parsed, job: Job) -> tuple[Stretch, ...]:
    """Return a typed line in stretches that together are the line, character by character.

    A piece that was taken out of the job is plain again.
    """
    # One name a character: the number of the span tells neighbours of one kind apart.
    names: list[tuple[str, int]] = [("plain", 0)] * len(read.text)
    for number, (kind, start, end) in enumerate(_spans(read, job), 1):
        for at in range(start, min(end, len(names))):
            if _RANK[kind] >= _RANK[names[at][0]]:
                names[at] = (kind, number)
    made, at = [], 0
    for (kind, _), run in groupby(names):
        size = len(list(run))
        shown = "piece" if kind == "symptom" else kind
        made.append(Stretch(text=read.text[at : at + size], kind=shown))
        at += size
    return tuple(made)


def _spans(read: Parsed, job: Job) -> list[tuple[str, int, int]]:
    spans = [
        ("symptom" if row.kind == "symptom" else "piece", row.start, row.end)
        for row in read.pieces
        if _still_there(row, read, job)
    ]
    spans += [("refused", row.start, row.end) for row in read.refused]
    spans += [("asked", row.start, row.end) for row in read.questions]
    return [*spans, *(("unread", row.start, row.end) for row in read.unread)]


def _still_there(piece: Piece, read: Parsed, job: Job) -> bool:
    test = _TESTS.get(piece.kind)
    return test is None or test(piece, read, job)


def _readings(source: Any) -> list[Any]:
    return [row for group in source.reading_sets for row in group.readings]


def _reading_there(piece: Piece, read: Parsed, job: Job) -> bool:
    typed = _readings(read)[piece.index].typed
    return any(row.typed == typed for row in _readings(job))


_TESTS: Final[dict[str, Callable[[Piece, Parsed, Job], bool]]] = {
    "symptom": lambda piece, read, job: (
        read.symptoms[piece.index].text in {row.text for row in job.symptoms}
    ),
    "reading": _reading_there,
    "code": lambda piece, read, job: read.codes[piece.index] in job.codes,
    "scan": lambda piece, read, job: job.scan is not None,
    "finding": lambda piece, read, job: (
        read.findings[piece.index].check in {row.check for row in job.findings}
    ),
    "tried": lambda piece, read, job: read.tried[piece.index] in job.tried,
}
