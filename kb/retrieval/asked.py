"""One query held against every case: its evidence, the best cases, the reasons for each."""

from collections.abc import Container, Iterable, Mapping
from dataclasses import dataclass
from itertools import islice
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from kb.retrieval.analyzer import SMALL_WORDS
from kb.retrieval.features import CaseFeatures
from kb.retrieval.measures import Measure, beside, rarity
from kb.retrieval.postings import Rows
from kb.retrieval.similarity import Match, Reason
from kb.retrieval.vectors import TextQuery

if TYPE_CHECKING:
    from kb.retrieval.index import CaseIndex

Floats = NDArray[np.float64]

# Words shown as a reason, at most (our choice).
_MOST_WORDS = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """One part of a query: the rows that it touches and what it gives each, in nats."""

    part: str
    what: str
    rows: Rows
    weights: Floats
    key: str = ""
    shared_by: int = 0
    measure: Measure | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One query held against every case; ``scores`` in nats, shape ``(n_cases,)``."""

    index: "CaseIndex"
    query: CaseFeatures
    texts: Mapping[tuple[str, str], TextQuery]
    parts: tuple[Evidence, ...]
    scores: Floats

    def best(self, top: int, among: Container[str] | None = None) -> tuple[Match, ...]:
        """Return the ``top`` best cases, best first, ties by case id; the query itself left out.

        With ``among``, only cases of these ids; the order is that of all cases.
        """
        ids = self.index.ids_
        order = top_rows(self.scores, top + 1 if among is None else len(ids))
        wanted = (int(row) for row in order if among is None or ids[row] in among)
        rows = list(islice((row for row in wanted if ids[row] != self.query.case), top))
        return tuple(self._match(row) for row in rows)

    def _match(self, row: int) -> Match:
        reasons = [reason for part in self.parts if (reason := self._reason(row, part))]
        reasons.sort(key=lambda reason: (-abs(reason.weight), reason.what))
        return Match(
            case=self.index.ids_[row],
            row=row,
            score=float(self.scores[row]),
            reasons=tuple(reasons),
        )

    def _reason(self, row: int, part: Evidence) -> Reason | None:
        at = int(np.searchsorted(part.rows, row))
        if at >= len(part.rows) or part.rows[at] != row or part.weights[at] == 0:
            return None
        weight = float(part.weights[at])
        return Reason(part=part.part, what=self._what(row, part, weight=weight), weight=weight)

    def _what(self, row: int, part: Evidence, *, weight: float) -> str:
        if part.part in {"text", "contrary"}:
            return self._shared(row) if part.part == "text" else part.what
        if self.index.stored_fields is not None and part.part in {"learned", "spelling"}:
            return self.index.stored_fields.says(part.what, row, nats=weight)
        if part.measure is not None:
            return self._here(row, part, part.measure)
        if weight < 0:
            return f"{part.what}; otherwise there"
        return f"{part.what} (in {part.shared_by} of {len(self.index.ids_)} cases)"

    def _shared(self, row: int) -> str:
        terms = (
            term
            for (_, kind), query in self.texts.items()
            if kind == "word"
            for stored in ("said", "told")
            for term in self.index.spaces_[stored, kind].shared_terms(query, row, most=9)
        )
        return words_in_common(terms)

    def _here(self, row: int, part: Evidence, here: Measure) -> str:
        span = self.index.measures_.span(here.key)
        there = float(self.index.values_[span][np.searchsorted(part.rows, row)])
        often = rarity(here, self.index.scale(here.key).population)
        return f"{here.what}, there {beside(here, there)}; {often}"


def words_in_common(terms: Iterable[str]) -> str:
    """Return shared words and word pairs, strongest first, as a reason; small words left out.

    Examples
    --------
    >>> words_in_common(["side", "high side", "the", "vent"])
    'words: high side, vent'
    """
    words = list(dict.fromkeys(term for term in terms if not set(term.split()) <= SMALL_WORDS))
    paired = {word for term in words if " " in term for word in term.split()}
    told = [word for word in words if word not in paired][:_MOST_WORDS]
    return "words: " + ", ".join(told) if told else "spelling alike"


def top_rows(scores: Floats, top: int) -> Rows:
    """Return the rows of the ``top`` largest scores, largest first, ties by row number.

    A full partition is avoided where nearly all scores are equal; ``lexsort`` breaks ties exactly.
    """
    if top >= len(scores):
        return np.lexsort((np.arange(len(scores)), -scores))
    bound = np.partition(scores, len(scores) - top)[len(scores) - top]
    rows = np.flatnonzero(scores >= bound)
    order = np.lexsort((rows, -scores[rows]))
    return np.asarray(rows[order][:top], np.int64)
