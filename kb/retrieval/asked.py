"""One query held against every case: its evidence, the best cases, the reasons for each."""

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from kb.retrieval.features import CaseFeatures
from kb.retrieval.lists import add_alike, add_rows
from kb.retrieval.measures import Measure, beside
from kb.retrieval.postings import Rows
from kb.retrieval.similarity import Match, Reason
from kb.retrieval.texts import AskedWords

if TYPE_CHECKING:
    from kb.retrieval.index import CaseIndex

Floats = NDArray[np.float32]
Codes = NDArray[np.int64]

# Words shown as a reason, at most (our choice).
_MOST_WORDS: Final = 5
# Cases of which the best is found before single cases are looked at, and number of cases from
# which that pays (measured: 0.02 ms against 0.07 ms for a partition at 10,000, 0.15 ms against
# 27 ms at a million).
_BLOCK: Final = 128
_MANY: Final = 5_000


class Evidence(Protocol):
    """One part of a query: what it gives each case, in nats."""

    @property
    def part(self) -> str:
        """Return the kind of evidence."""

    @property
    def what(self) -> str:
        """Return what is known of the query, in words."""

    def add_to(self, total: Floats) -> None:
        """Add what it gives onto ``total``, shape ``(n_cases,)``."""

    def of(self, cases: Rows) -> Sequence[float | None]:
        """Return what it gives each of ``cases``, None where it says nothing of one."""


def stands(rows: Rows, cases: Rows) -> tuple[NDArray[np.int64], list[bool]]:
    """Return where each of ``cases`` would stand in ascending ``rows``, and whether it does."""
    at = rows.searchsorted(cases)
    if not len(rows):
        return at, [False] * len(cases)
    there: list[bool] = (rows.take(at, mode="clip") == cases).tolist()
    return at, there


@dataclass(frozen=True, slots=True, kw_only=True)
class OfAll:
    """Evidence about every case; ``weights`` of shape ``(n_cases,)``."""

    part: str
    what: str
    weights: Floats

    def add_to(self, total: Floats) -> None:
        """Add what it gives."""
        total += self.weights

    def of(self, cases: Rows) -> Sequence[float | None]:
        """Return what it gives each of ``cases``."""
        weights: list[float | None] = self.weights[cases].tolist()
        return weights


@dataclass(frozen=True, slots=True, kw_only=True)
class OfSome:
    """Evidence about the cases in ``rows``, each with its weight; of a reading, ``measure``."""

    part: str
    what: str
    rows: Rows
    weights: Floats
    measure: Measure | None = None

    def add_to(self, total: Floats) -> None:
        """Add what it gives."""
        add_rows(total, self.rows, self.weights)

    def of(self, cases: Rows) -> Sequence[float | None]:
        """Return what it gives each of ``cases``."""
        at, there = stands(self.rows, cases)
        return [
            float(self.weights[k]) if one else None
            for k, one in zip(at.tolist(), there, strict=True)
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Alike:
    """One weight for the cases in ``rows``."""

    part: str
    what: str
    rows: Rows
    weight: float

    def add_to(self, total: Floats) -> None:
        """Add what it gives."""
        add_alike(total, self.rows, self.weight)

    def of(self, cases: Rows) -> Sequence[float | None]:
        """Return what it gives each of ``cases``."""
        _, there = stands(self.rows, cases)
        return [self.weight if one else None for one in there]


class Witnesses(NamedTuple):
    """Rows of cases, their scores in nats and their weights as witnesses."""

    rows: list[int]
    scores: Floats
    weights: NDArray[np.float64]


class Ranked:
    """Scores of one query against every case of an index, and which cases are best by them."""

    __slots__ = ()
    index: Any
    query: CaseFeatures
    scores: Floats

    def top(self, top: int) -> NDArray[np.int64]:
        """Return the rows of the ``top`` best cases, best first, ties by case id."""
        return top_rows(self.scores, top, self.index.order)

    def witnesses(self, top: int, cause_of: Codes) -> Witnesses:
        """Return the ``top`` best cases that have a cause, best first, the query itself left out.

        Parameters
        ----------
        top : int
            How many.
        cause_of : array of shape (n_rows,)
            Number of the cause of each row of the index, -1 for none.
        """
        wanted = looked_at = top + 1
        while True:
            rows = self.top(looked_at)
            found = rows[cause_of[rows] >= 0]
            if len(found) >= wanted or looked_at >= len(cause_of):
                break
            looked_at *= 4
        ids = self.index.ids_
        kept = [int(row) for row in found[:wanted] if ids[row] != self.query.case][:top]
        return Witnesses(kept, self.scores[kept], self.index.weights_of(kept))

    def best_rows(self, top: int, among: Collection[str] | None = None) -> list[int]:
        """Return the rows of the ``top`` best cases, as ``Asked.best`` orders them."""
        scores = self.scores
        if among is not None:
            wanted = [row for case in among if (row := self.index.row_of(case)) is not None]
            scores = np.full_like(scores, -np.inf)
            scores[wanted] = self.scores[wanted]
        best = top_rows(scores, top + 1, self.index.order)
        found = [int(row) for row in best if scores[row] > -np.inf]
        return [row for row in found if self.index.ids_[row] != self.query.case][:top]


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked(Ranked):
    """One query held against every case; ``scores`` in nats, shape ``(n_cases,)``."""

    index: "CaseIndex"
    query: CaseFeatures
    words: AskedWords
    parts: tuple[Evidence, ...]
    scores: Floats

    def best(self, top: int, among: Collection[str] | None = None) -> tuple[Match, ...]:
        """Return the ``top`` best cases, best first, ties by case id; the query itself left out.

        With ``among``, only cases of these ids; the order is that of all cases.
        """
        return self.matches(self.best_rows(top, among))

    def matches(self, rows: Sequence[int]) -> tuple[Match, ...]:
        """Return the cases in ``rows`` with their reasons, in that order."""
        cases = np.array(rows, np.int32)
        scores = self.scores[cases].tolist()
        return tuple(
            Match(case=self.index.ids_[row], row=row, score=score, reasons=tuple(reasons))
            for row, score, reasons in zip(rows, scores, self._reasons(cases), strict=True)
        )

    def _reasons(self, cases: Rows) -> list[list[Reason]]:
        """Return the reasons for each of ``cases``, the strongest first."""
        found: list[list[Reason]] = [[] for _ in cases]
        for part in self.parts:
            weights = part.of(cases)
            if any(weights):
                kind, what = part.part, self._words_for(part, cases)
                for at, weight in enumerate(weights):
                    if weight:
                        found[at].append(Reason(kind, what(at, weight), weight))
        for reasons in found:
            reasons.sort(key=_strongest_first)
        return found

    def _words_for(self, part: Evidence, cases: Rows) -> Callable[[int, float], str]:
        """Return what gives the words of a part for the case at a place in ``cases``."""
        stored = self.index.stored_fields
        if part.part == "text":
            shared = self.index.texts_.shared(self.words, cases, most=_MOST_WORDS)
            return lambda at, _: words_in_common(shared[at])
        if stored is not None and part.part in {"learned", "spelling"}:
            return lambda at, nats: stored.says(part.what, int(cases[at]), nats=nats)
        if isinstance(part, OfSome) and part.measure is not None:
            return self._beside(cases, part, part.measure)
        return lambda _at, _: part.what

    def _beside(self, cases: Rows, part: OfSome, here: Measure) -> Callable[[int, float], str]:
        values = self.index.values_[self.index.measures_.span(here.key)]
        # Where a case does not stand, nothing is said.
        places = np.minimum(stands(part.rows, cases)[0], len(part.rows) - 1)
        there = values[places].tolist()
        often = self.index.rarity(here)

        def said(at: int, _: float) -> str:
            return f"{here.what}, there {beside(here, there[at])}; {often}"

        return said


def _strongest_first(reason: Reason) -> tuple[float, str]:
    return -abs(reason.weight), reason.what


def words_in_common(pairs: Mapping[str, str]) -> str:
    """Return words asked for and the words of a case that they stand for, strongest first.

    Examples
    --------
    >>> words_in_common({"side": "side", "leaks": "leaking"})
    'words: side, leaks = leaking'
    """
    told = [word if word == there else f"{word} = {there}" for word, there in pairs.items()]
    return "words: " + ", ".join(told) if told else "words a little alike"


def top_rows(
    scores: NDArray[np.floating[Any]],
    top: int,
    order: Callable[[Rows], NDArray[Any]] = np.asarray,
) -> NDArray[np.int64]:
    """Return the rows of the ``top`` largest scores, largest first, ties by ``order`` of the rows.

    The ``top``-th largest of the best scores of blocks is a lower bound of the ``top``-th score:
    where cases are many, only blocks that reach it are looked into.
    """
    if top >= len(scores):
        return np.lexsort((order(np.arange(len(scores))), -scores))
    rows = _in_good_blocks(scores, top) if len(scores) >= _MANY else np.arange(len(scores))
    if len(rows) > top:
        here = scores[rows]
        bound = np.partition(here, len(here) - top)[len(here) - top]
        rows = rows[here >= bound]
    best = np.lexsort((order(rows), -scores[rows]))
    return np.asarray(rows[best][:top], np.int64)


def _in_good_blocks(scores: NDArray[np.floating[Any]], top: int) -> NDArray[np.int64]:
    """Return the rows of all scores from the bound on; at least ``top``."""
    # A block takes every so-many-th case, so that the best of all blocks are found side by side.
    blocks = len(scores) // _BLOCK
    whole = blocks * _BLOCK
    best = scores[:whole].reshape(_BLOCK, blocks).max(axis=0)
    if top >= len(best):
        return np.arange(len(scores))
    bound = np.partition(best, len(best) - top)[len(best) - top]
    good = np.flatnonzero(best >= bound)
    rows = (good[:, None] + np.arange(0, whole, blocks)).ravel()
    rows = np.concatenate([rows, np.arange(whole, len(scores))])
    return np.asarray(rows[scores[rows] >= bound], np.int64)
