"""Groups of recent jobs that are alike though their causes differ or have no name yet."""

from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.diagnosis.held_together import Sign, signs_of
from kb.retrieval.pairwise import Likeness

Floats = NDArray[np.float64]
Rows = NDArray[np.int64]

# The fewest jobs, from as many vehicles, that are a pattern (our choice: two are a coincidence).
LEAST_JOBS: Final = 3
# Nats by which the jobs of a group are alike beyond the even odds of one in all jobs, on average:
# our choice. With 2, jobs put together at random make no group among 100 or 400, and one in every
# ten reviews of 1,000; with 1, one in every review of 1,000, and no more planted groups are found
# (tests/benchmarks/bench_clusters.py).
BEYOND_EVEN: Final = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class CaseGroup:
    """Jobs that are alike; ``cases`` by the day of writing up, oldest first.

    ``key`` is the id of the oldest job, or the key that an earlier review gave (``keep_keys``).
    ``causes`` are the named causes with their counts, the most frequent first; ``unnamed`` jobs
    have none. ``likeness`` is the mean evidence of its pairs in nats beyond the usual between two
    jobs; ``signs`` is what holds the group together, most telling first.
    """

    key: str
    cases: tuple[str, ...]
    vehicles: int
    causes: tuple[tuple[str, int], ...]
    unnamed: int
    likeness: float
    signs: tuple[Sign, ...]


def beyond_usual(total: Floats) -> Floats:
    """Return the evidence of all pairs beyond what either job has with any other.

    ``e_ij = s_ij - m_i - m_j + m``, m_i the mean of job i with all others and m that of all pairs:
    long texts share words with everything. The diagonal means nothing.

    Parameters
    ----------
    total : array of shape (n_jobs, n_jobs)
        Evidence in nats, symmetric.
    """
    others = total - np.diag(np.diag(total))
    mean = others.sum(axis=1) / max(1, len(total) - 1)
    result: Floats = total - mean[:, None] - mean[None, :] + mean.mean()
    return result


def least_likeness(n_jobs: int) -> float:
    """Return the mean evidence in nats from which jobs make a group: ``ln n + 2``.

    That one given job of n is of the same kind has odds of about 1 in n before anything is known.
    """
    return float(np.log(n_jobs)) + BEYOND_EVEN


def find_groups(likeness: Likeness) -> tuple[CaseGroup, ...]:
    """Return the groups without a name among recent jobs, the largest first, then the tightest.

    Jobs are joined by average linkage while the mean evidence of their pairs beyond the usual is
    at least ``least_likeness``. A group has at least 3 jobs from at least 3 vehicles (an unknown
    vehicle counts as one of its own), named causes that differ or are mostly missing, and
    something that holds it together; every other job stays alone.

    References
    ----------
    Sokal & Michener (1958), A statistical method for evaluating systematic relationships: average
    linkage (from memory).
    """
    if len(likeness.ids) < LEAST_JOBS:
        return ()
    excess = beyond_usual(likeness.total)
    level = least_likeness(len(likeness.ids))
    explained = _explained(likeness, excess, level)
    made = [
        _group(likeness, rows, excess=excess)
        for rows in _joined(excess, level)
        if min(len(rows), _vehicles(likeness, rows)) >= LEAST_JOBS
        and _has_no_name(likeness, rows, explained=explained)
    ]
    kept = (group for group in made if group.signs)
    return tuple(sorted(kept, key=lambda group: (-len(group.cases), -group.likeness, group.key)))


def _joined(excess: Floats, level: float) -> Iterator[Rows]:
    from sklearn.cluster import AgglomerativeClustering  # noqa: PLC0415 (start-up time)

    top = max(level, float(excess.max()))
    apart = top - excess
    np.fill_diagonal(apart, 0.0)
    made = AgglomerativeClustering(
        n_clusters=None, metric="precomputed", linkage="average", distance_threshold=top - level
    ).fit(apart)
    order = np.argsort(made.labels_, kind="stable")
    yield from np.split(order, np.flatnonzero(np.diff(made.labels_[order])) + 1)


def _explained(likeness: Likeness, excess: Floats, level: float) -> NDArray[np.bool_]:
    """Say of each job whether another one of its named cause is as alike as in a group."""
    names = [cause or "" for cause in likeness.index.causes_]
    _, codes = np.unique(names, return_inverse=True)
    same = (codes[:, None] == codes[None, :]) & (excess >= level)
    np.fill_diagonal(same, val=False)
    told: NDArray[np.bool_] = same.any(axis=1) & (np.array(names) != "")
    return told


def _named(likeness: Likeness, rows: Rows) -> list[tuple[str, int]]:
    causes = (likeness.index.causes_[row] for row in rows)
    counts = Counter(cause for cause in causes if cause is not None)
    return sorted(counts.items(), key=lambda row: (-row[1], row[0]))


def _has_no_name(likeness: Likeness, rows: Rows, *, explained: NDArray[np.bool_]) -> bool:
    """Say whether no named cause covers a group.

    With one named cause it is that cause, unless twice as many jobs have none. With several, none
    has more than half of the jobs, and most jobs are not explained by another one of their own
    cause: two known causes that look alike are no third one (our choices; the latter takes the
    groups among the demonstration's cases from 5 to 0, and no planted group away).
    """
    named = _named(likeness, rows)
    if len(named) <= 1:
        count = sum(number for _, number in named)
        return len(rows) - count >= 2 * count
    left = int((~explained[rows]).sum())
    return 2 * named[0][1] <= len(rows) and left >= LEAST_JOBS and 2 * left > len(rows)


def _vehicles(likeness: Likeness, rows: Rows) -> int:
    jobs = (likeness.jobs[row] for row in rows)
    return len(
        {("vehicle", job.vehicle) if job.vehicle else ("job", job.features.case) for job in jobs}
    )


def _group(likeness: Likeness, rows: Rows, *, excess: Floats) -> CaseGroup:
    jobs = sorted(
        (likeness.jobs[row] for row in rows), key=lambda job: (job.day, job.features.case)
    )
    cases = tuple(job.features.case for job in jobs)
    named = _named(likeness, rows)
    pairs = excess[np.ix_(rows, rows)][np.triu_indices(len(rows), 1)]
    return CaseGroup(
        key=cases[0],
        cases=cases,
        vehicles=_vehicles(likeness, rows),
        causes=tuple(named),
        unnamed=len(rows) - sum(count for _, count in named),
        likeness=float(pairs.mean()),
        signs=signs_of(likeness, rows),
    )


def keep_keys(
    groups: tuple[CaseGroup, ...], earlier: Mapping[str, Collection[str]]
) -> tuple[CaseGroup, ...]:
    """Return the groups with the keys that an earlier review gave where they overlap with them.

    An earlier key goes to the group that shares most jobs with it, and to one group only.

    Parameters
    ----------
    groups : tuple of CaseGroup
        Of this review.
    earlier : mapping of str to collection of str
        Case ids of each group of the earlier review, by key.
    """
    shared = [
        (-len(set(group.cases) & set(cases)), key, at)
        for at, group in enumerate(groups)
        for key, cases in earlier.items()
    ]
    given: dict[int, str] = {}
    for count, key, at in sorted(shared):
        if count < 0 and at not in given and key not in given.values():
            given[at] = key
    used = set(given.values())
    return tuple(
        replace(group, key=given[at] if at in given else _free(group, used))
        for at, group in enumerate(groups)
    )


def _free(group: CaseGroup, used: set[str]) -> str:
    """Return the oldest job whose id is no other group's key."""
    return next(case for case in group.cases if case not in used)
