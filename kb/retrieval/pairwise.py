"""How alike the jobs of some weeks are, each with each: the same evidence as in the search."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import NDArray

from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.index import CaseIndex
from kb.retrieval.moments import LEAST_VALUES
from kb.retrieval.similarity import TEXT_SHARE, reading_agreement

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class Recent:
    """A job of the recent weeks, open or closed: what is compared of it, its day, its vehicle.

    ``day`` is the day on which it was written up; ``vehicle`` is "" where the vehicle is not known.
    """

    features: CaseFeatures
    day: date
    vehicle: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Likeness:
    """Jobs compared each with each, in order of case ids; all arrays of shape (n_jobs, n_jobs).

    ``total`` is the evidence in nats of texts, tokens and readings: the score that the search gives,
    but for the same words about contrary facts. Those order near matches; jobs of one kind, written
    by different hands, often seem to contradict each other.
    """

    jobs: tuple[Recent, ...]
    index: CaseIndex
    total: Floats

    @property
    def ids(self) -> tuple[str, ...]:
        """Return the case ids in the order of the rows."""
        return tuple(self.index.ids_)


def compare_all(jobs: Sequence[Recent]) -> Likeness:
    """Return how alike all jobs are; rarity is counted among these jobs alone.

    Time and memory grow with the square of their number: some hundred, at most some 1,500.
    """
    ordered = tuple(sorted(jobs, key=lambda job: job.features.case))
    index = CaseIndex().fit([job.features for job in ordered])
    total = _texts(index)
    _add_tokens(total, index, (job.features for job in ordered))
    _add_readings(total, index)
    # Sums in another order differ in the last digit.
    return Likeness(jobs=ordered, index=index, total=(total + total.T) / 2)


def _texts(index: CaseIndex) -> Floats:
    """Return ``text_weight`` times the weighed cosines of all pairs of texts."""
    return index.text_weight * TEXT_SHARE * index.texts_.pairs()


def _add_tokens(total: Floats, index: CaseIndex, cases: Iterable[CaseFeatures]) -> None:
    """Add agreement where two jobs have a value in common, one conflict where none."""
    fields: dict[str, dict[str, Token]] = {}
    for case in cases:
        for token in case.tokens:
            fields.setdefault(token.field, {}).setdefault(token.key, token)
    for field, tokens in fields.items():
        rows = index.fields_.of(field)
        worth = np.zeros((len(rows), len(rows)))
        agreed = np.zeros(worth.shape, np.bool_)
        for key, token in tokens.items():
            same = np.searchsorted(rows, index.tokens_.of(key))
            block = np.ix_(same, same)
            worth[block] += index.agreement(token)
            agreed[block] = True
        if not agreed.all():
            worth[~agreed] = index.conflict(next(iter(tokens.values())))
        total[np.ix_(rows, rows)] += worth


def _add_readings(total: Floats, index: CaseIndex) -> None:
    for key in index.measures_.keys:
        rows = index.measures_.of(key)
        if len(rows) < LEAST_VALUES:
            continue
        scale = index.scale(key)
        for at, score in zip(rows, scale.scores, strict=True):
            total[at, rows] += reading_agreement(float(score), scale.scores, scale.correlation)
