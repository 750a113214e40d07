"""What the index compares of the closed jobs: kept, and made anew only for jobs that changed."""

import logging
from bisect import bisect_left
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from kb.case.model import Job
from kb.case.terms import Vocabulary
from kb.retrieval.feature_chunks import (
    CHUNK,
    MOST_IN_CHUNK,
    FeatureChunks,
    Part,
    drop_others,
    keep_chunk,
    kept_chunks,
)
from kb.retrieval.feature_table import FeatureTable
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.suggest import witness_features

# Jobs up to which the missing ones of a chunk are asked for by their ids; of more, all between the
# first and the last are read (our choice: a list of ids must fit into one question).
_MOST_ASKED: Final = 500
# Folder of the features beside the database.
FEATURES: Final = "features"
logger = logging.getLogger(__name__)

# Told how many of how many jobs were looked through.
Report = Callable[[int, int], None]


def silent(done: int, of: int) -> None:
    """Say nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Making:
    """How features are made.

    Attributes
    ----------
    words : Vocabulary
        The trade's words and the shop's.
    altitude_m : float
        The shop's altitude in metres.
    folder : Path or None
        The shop's folder, where features are kept; None keeps none.
    report : callable
        Told how many of how many jobs were looked through.
    """

    words: Vocabulary
    altitude_m: float = 0.0
    folder: Path | None = None
    report: Report = silent

    @property
    def place(self) -> Path | None:
        """The folder of the features."""
        return None if self.folder is None else self.folder / FEATURES

    @property
    def stamp(self) -> dict[str, Any]:
        """With what they are made."""
        return {"terms": self.words.shop.mark, "altitude_m": self.altitude_m}


def features_now(unit: UnitOfWork, making: Making) -> FeatureChunks:
    """Return the features of all witnesses that ``unit`` sees, each with the hash of its job."""
    marks = unit.jobs.witness_marks()
    place = making.place
    known = [] if place is None else kept_chunks(place, making.stamp)
    parts: list[Part] = []
    done = 0
    for chunk in _chunks(known, marks):
        for part in chunk.parts():
            parts.append(_made(unit, making, part) if isinstance(part, _Piece) else part)
            done += len(parts[-1])
            making.report(done, len(marks))
    for job_id in sorted(unit.jobs.damaged):
        logger.warning("left out, changed on the disk: %s", job_id)
    parts = [part for part in parts if len(part)]
    if place is not None and any(part not in known for part in parts):
        drop_others(place, parts)
        # Where features were kept before they were kept in chunks.
        place.with_name(f"{FEATURES}.npz").unlink(missing_ok=True)
    return FeatureChunks(parts)


@dataclass(slots=True)
class _Piece:
    """Cases of a chunk to be: those of a kept one that are as they were, and those to be made."""

    old: FeatureTable | None
    rows: list[int]
    missing: list[str]
    marks: Mapping[str, str]


@dataclass(slots=True)
class _Chunk:
    """A kept chunk, which of its rows are as they were, and which cases come into it."""

    kept: Part | None
    marks: Mapping[str, str]
    rows: list[int] = field(default_factory=list)
    missing: list[str] = field(default_factory=list)

    def parts(self) -> Iterator[Part | _Piece]:
        """Yield what becomes of it: itself, or pieces of even size."""
        kept, cases = self.kept, () if self.kept is None else self.kept.cases
        if kept is not None and not self.missing and len(self.rows) == len(cases):
            yield kept
            return
        old = None if kept is None else _table(kept)
        every = sorted(
            [*((cases[row], row) for row in self.rows), *((c, -1) for c in self.missing)]
        )
        pieces = -(-len(every) // CHUNK) if len(every) > MOST_IN_CHUNK else 1
        size = -(-len(every) // pieces)
        for start in range(0, len(every), size or 1):
            some = every[start : start + size]
            rows = [row for _, row in some if row >= 0]
            missing = [case for case, row in some if row < 0]
            yield _Piece(old, rows, missing, self.marks)


def _table(part: Part) -> FeatureTable:
    return part if isinstance(part, FeatureTable) else part.table()


def _chunks(known: Sequence[Part], marks: Mapping[str, str]) -> list[_Chunk]:
    """Return the kept chunks with what changed; every case goes where its id lies."""
    chunks = [_Chunk(part, marks) for part in known] or [_Chunk(None, marks)]
    still: set[str] = set()
    for chunk, part in zip(chunks, known, strict=False):
        pairs = enumerate(zip(part.cases, part.marks, strict=True))
        chunk.rows = [row for row, (case, mark) in pairs if marks.get(case) == mark]
        still.update(part.cases[row] for row in chunk.rows)
    ends = [part.cases[-1] for part in known[:-1]]
    for case in marks:
        if case not in still:
            chunks[bisect_left(ends, case)].missing.append(case)
    return chunks


def _made(unit: UnitOfWork, making: Making, piece: _Piece) -> Part:
    """Return a chunk with what was missing, kept where features are kept."""
    jobs = _witnesses(unit, piece.missing)
    made = [witness_features(job, making.words, making.altitude_m) for job in jobs]
    table = FeatureTable.of(made, [piece.marks[job.id] for job in jobs])
    if piece.old is not None:
        table = piece.old.take(piece.rows).with_others(table)
    if making.place is None or not len(table):
        return table
    return keep_chunk(making.place, table, making.stamp)


def _witnesses(unit: UnitOfWork, ids: Sequence[str]) -> list[Job]:
    """Return the sound ones of the witnesses of these ids."""
    if len(ids) <= _MOST_ASKED:
        return list(unit.jobs.some(sorted(ids)))
    wanted = set(ids)
    found = unit.jobs.witnesses_between(min(ids), max(ids))
    return [job for job in found if job.id in wanted]
