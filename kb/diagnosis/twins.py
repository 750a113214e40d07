"""Pairs of recent jobs to look at again: one job written twice; same readings, different causes."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2

from kb.case.model import Standing
from kb.retrieval.measures import beside
from kb.retrieval.moments import LEAST_VALUES
from kb.retrieval.pairwise import Likeness
from kb.retrieval.similarity import Reason

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

# Share of the likeness of a job to itself from which two are one job written twice (our choice):
# a demonstration case written again with half its words, tokens and readings has .68 or more, two
# different cases have .57 at most.
LEAST_SHARE: Final = 0.65
# Days between two write-ups of one vehicle that may be one job: in the evening, and in the morning.
MOST_DAYS: Final = 1
# Fewest quantities that two jobs must have read both, and how many such pairs as close a review may
# hold by luck (our choice).
LEAST_READINGS: Final = 4
MOST_BY_LUCK: Final = 1.0


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenTwice:
    """Two jobs that may be one, the older first; ``share`` of the likeness of a job to itself.

    ``reasons`` are those of a match, strongest first.
    """

    first: str
    second: str
    same_vehicle: bool
    days_apart: int
    share: float
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SameReadings:
    """Two cases with proven, different causes and nearly the same readings, the older first.

    ``by_luck`` is how many pairs as close this review would hold by luck; ``readings`` says each
    quantity that both have read, as the first has it and as the second has it.
    """

    first: str
    second: str
    causes: tuple[str, str]
    by_luck: float
    readings: tuple[str, ...]


def written_twice(likeness: Likeness) -> tuple[WrittenTwice, ...]:
    """Return pairs of jobs that may be one job written twice, the most alike first.

    Of one vehicle and at most a day apart, or of one day where a vehicle is not known; and nearly
    as alike as the shorter of the two is to itself.
    """
    own = np.diag(likeness.total)
    share = likeness.total / np.maximum(np.minimum(own[:, None], own[None, :]), 1e-9)
    wanted = np.triu(_may_be_one(likeness) & (share >= LEAST_SHARE), 1)
    found = [_twice(likeness, pair, share=float(share[pair])) for pair in _pairs(wanted)]
    return tuple(sorted(found, key=lambda row: (-row.share, row.first, row.second)))


def _pairs(wanted: Flags) -> Iterator[tuple[int, int]]:
    for first, second in np.argwhere(wanted):
        yield int(first), int(second)


def _may_be_one(likeness: Likeness) -> Flags:
    days = np.array([job.day.toordinal() for job in likeness.jobs], np.int64)
    names = [job.vehicle for job in likeness.jobs]
    _, codes = np.unique(names, return_inverse=True)
    known = np.array(names, np.str_) != ""
    apart = np.abs(days[:, None] - days[None, :])
    both = known[:, None] & known[None, :]
    same = both & (codes[:, None] == codes[None, :]) & (apart <= MOST_DAYS)
    result: Flags = same | (~both & (apart == 0))
    return result


def _in_order(likeness: Likeness, pair: tuple[int, int]) -> tuple[int, int]:
    first, second = sorted(pair, key=lambda row: (likeness.jobs[row].day, likeness.ids[row]))
    return first, second


def _twice(likeness: Likeness, pair: tuple[int, int], *, share: float) -> WrittenTwice:
    rows = _in_order(likeness, pair)
    older, newer = (likeness.jobs[row] for row in rows)
    (match,) = likeness.index.ask(newer.features).best(1, among={older.features.case})
    return WrittenTwice(
        first=older.features.case,
        second=newer.features.case,
        same_vehicle=bool(older.vehicle) and older.vehicle == newer.vehicle,
        days_apart=(newer.day - older.day).days,
        share=share,
        reasons=match.reasons,
    )


def same_readings(likeness: Likeness) -> tuple[SameReadings, ...]:
    """Return pairs of proven cases of different causes with nearly the same readings, nearest first.

    The normal scores z of k quantities that both have read differ by little: ``sum (z - z')^2 / 2``
    of independent readings is chi-squared with k degrees of freedom, and its chance times the
    number of pairs held side by side is how many pairs as close are there by luck. Readings that
    were computed from others, and what an action moved, do not count.
    """
    distance, counts = _distances(likeness)
    compared = np.triu(_differently_proven(likeness) & (counts >= LEAST_READINGS), 1)
    luck = compared.sum() * chi2.cdf(distance / 2, np.maximum(counts, 1))
    found = [
        _same(likeness, pair, by_luck=float(luck[pair]))
        for pair in _pairs(compared & (luck <= MOST_BY_LUCK))
    ]
    return tuple(sorted(found, key=lambda row: (row.by_luck, row.first, row.second)))


def _as_read(key: str) -> bool:
    """Say whether the key of a measure is a quantity that was read."""
    return not key.startswith("= ") and " change by " not in key


def _distances(likeness: Likeness) -> tuple[Floats, Floats]:
    """Return the summed squares of the differences of all pairs, and the readings in common."""
    index = likeness.index
    distance = np.zeros((len(index.ids_), len(index.ids_)))
    counts = np.zeros_like(distance)
    for key in filter(_as_read, index.measures_.keys):
        rows = index.measures_.of(key)
        if len(rows) >= LEAST_VALUES:
            scores = index.scale(key).scores
            block = np.ix_(rows, rows)
            distance[block] += (scores[:, None] - scores[None, :]) ** 2
            counts[block] += 1
    return distance, counts


def _differently_proven(likeness: Likeness) -> Flags:
    causes = [
        job.features.cause or "" if job.features.standing == Standing.PROVEN else ""
        for job in likeness.jobs
    ]
    _, codes = np.unique(causes, return_inverse=True)
    proven = np.array(causes, np.str_) != ""
    result: Flags = proven[:, None] & proven[None, :] & (codes[:, None] != codes[None, :])
    return result


def _same(likeness: Likeness, pair: tuple[int, int], *, by_luck: float) -> SameReadings:
    older, newer = (likeness.jobs[row].features for row in _in_order(likeness, pair))
    there = {row.key: row.value for row in newer.measures}
    shared = [row for row in older.measures if _as_read(row.key) and row.key in there]
    return SameReadings(
        first=older.case,
        second=newer.case,
        causes=(older.cause or "", newer.cause or ""),
        by_luck=by_luck,
        readings=tuple(f"{row.what}, there {beside(row, there[row.key])}" for row in shared),
    )
