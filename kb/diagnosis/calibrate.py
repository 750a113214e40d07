"""Fit the numbers of a calibration on the shop's own closed jobs, each asked of the others.

The jobs are dealt into folds; each fold is answered by a memory without it and without 15 % of
the causes, so that "something else" is seen too. The weights of the parts, of the vote and the
level of "something else" then make what came true as likely as they can, held near the shipped
numbers by a ridge.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize

from kb.case.terms import Vocabulary
from kb.diagnosis.calibration import LEAST_OTHER, OTHER_SHARE, SHIPPED, TEMPER, VOTE, Calibration
from kb.diagnosis.causes import CauseModel
from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import CaseIndex

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

# Below this many closed jobs the shipped numbers are better; above the second no more are asked.
LEAST_JOBS: Final = 200
MOST_JOBS: Final = 1600
FOLDS: Final = 8
DROPPED: Final = 0.15
# Ridge that holds a weight near the shipped one, in jobs (our choice: 10 to 30 are alike).
_RIDGE: Final = 30.0
# The share of jobs whose cause is new is at least this (Good-Turing's n1 / N is only a floor).
_LEAST_NEW: Final = 0.02
_ABSENT: Final = -1e9


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosedJob:
    """A closed job as it is stored, and as it would be asked while it was open."""

    stored: CaseFeatures
    asked: CaseFeatures

    @property
    def cause(self) -> str:
        """The proven cause."""
        return self.stored.cause or ""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Answer:
    """One job asked of a memory without it: evidence by part, prior and vote by cause."""

    names: tuple[str, ...]
    parts: Floats
    prior: Floats
    vote: Floats
    truth: int


@dataclass(frozen=True, slots=True, kw_only=True)
class _Table:
    """All answers: one row of ``parts`` an entry, with the job and the part that it belongs to."""

    names: tuple[str, ...]
    parts: Floats
    job_of: Codes
    part_of: Codes
    prior: Floats
    vote: Floats
    truth: Codes
    trust: Floats


def calibrate(jobs: Sequence[ClosedJob], words: Vocabulary) -> Calibration:
    """Return the numbers fitted on closed jobs; the shipped ones below 200 jobs.

    The order of the jobs changes nothing.
    """
    known = sorted((job for job in jobs if job.stored.cause), key=lambda job: job.stored.case)
    known = [job for job in known if job.stored.weight > 0]
    if len(known) < LEAST_JOBS:
        return SHIPPED
    order = np.random.default_rng(len(known)).permutation(len(known))[:MOST_JOBS]
    dealt = [known[int(at)] for at in order]
    causes = tuple(dict.fromkeys([*words.causes, *sorted({job.cause for job in known})]))
    answers = [row for fold in range(FOLDS) for row in _fold(dealt, fold, causes, words=words)]
    new = new_share([job.cause for job in known])
    return _fit(_table(answers, len(causes), new), jobs=len(known), new=new)


def new_share(causes: Sequence[str]) -> float:
    """Return the share of jobs to come whose cause is new: causes seen once over all jobs.

    References
    ----------
    Good (1953), The population frequencies of species (from memory).
    """
    names, counts = np.unique(np.array(causes), return_counts=True)
    return max(_LEAST_NEW, float((counts == 1).sum()) / len(causes)) if len(names) else 1.0


def _fold(
    jobs: Sequence[ClosedJob], fold: int, causes: tuple[str, ...], *, words: Vocabulary
) -> Iterator[_Answer]:
    names = sorted({job.cause for job in jobs})
    shuffled = np.random.default_rng(fold).permutation(len(names))
    dropped = {names[int(at)] for at in shuffled[: round(DROPPED * len(names))]}
    rest = [job for at, job in enumerate(jobs) if at % FOLDS != fold]
    cases = [job.stored for job in rest if job.cause not in dropped]
    index = CaseIndex().fit(cases)
    model = CauseModel(words).fit(cases, index)
    at = {name: i for i, name in enumerate(causes)}
    place = np.array([at[name] for name in model.causes_], np.int64)
    for job in jobs[fold::FOLDS]:
        yield _ask(model, job, place, size=len(causes))


def _ask(model: CauseModel, job: ClosedJob, place: Codes, *, size: int) -> _Answer:
    parts = dict(model.parts(job.asked))
    wide = np.zeros((len(parts), size))
    if parts:
        wide[:, place] = np.stack(list(parts.values()))
    prior, vote = np.full(size, _ABSENT), np.zeros(size)
    prior[place] = np.log(model.prior_)
    vote[place] = model.log_vote(model.index.ask(job.asked))
    known = job.cause in model.causes_
    truth = int(place[model.causes_.index(job.cause)]) if known else size
    return _Answer(names=tuple(parts), parts=wide, prior=prior, vote=vote, truth=truth)


def _table(answers: Sequence[_Answer], size: int, new: float) -> _Table:
    names = tuple(dict.fromkeys(name for row in answers for name in row.names))
    at = {name: i for i, name in enumerate(names)}
    truth = np.array([row.truth for row in answers], np.int64)
    unseen = truth == size
    share = new / (1 - new) * (~unseen).sum() / max(1, int(unseen.sum()))
    return _Table(
        names=names,
        parts=np.concatenate([row.parts for row in answers]),
        job_of=np.repeat(np.arange(len(answers)), [len(row.names) for row in answers]),
        part_of=np.array([at[name] for row in answers for name in row.names], np.int64),
        prior=np.stack([row.prior for row in answers]),
        vote=np.stack([row.vote for row in answers]),
        truth=truth,
        trust=np.where(unseen, min(1.0, share), 1.0),
    )


def _loss(numbers: Floats, table: _Table) -> tuple[float, Floats]:
    """Return the ridged negative log likelihood of what came true, and its slope."""
    weights, (prior, vote, other) = numbers[:-3], numbers[-3:]
    jobs = len(table.truth)
    scaled = table.parts * weights[table.part_of][:, None]
    total = np.stack([np.bincount(table.job_of, column, jobs) for column in scaled.T], axis=1)
    present = table.prior > _ABSENT
    logits = np.where(present, total + prior * table.prior + vote * table.vote, _ABSENT)
    level = np.full((jobs, 1), prior * np.log(OTHER_SHARE) + other)
    logits = np.concatenate([logits, level], axis=1)
    logits -= logits.max(axis=1, keepdims=True)
    chances = np.exp(logits)
    chances /= chances.sum(axis=1, keepdims=True)
    rows = np.arange(jobs)
    loss = -(table.trust * np.log(chances[rows, table.truth] + 1e-300)).sum()
    chances[rows, table.truth] -= 1
    slope = chances * table.trust[:, None]
    named = np.where(present, slope[:, :-1], 0.0)
    by_entry = (table.parts * named[table.job_of]).sum(axis=1)
    pull = numbers - _start(len(numbers))
    own = [
        (named * np.where(present, table.prior, 0.0)).sum()
        + slope[:, -1].sum() * np.log(OTHER_SHARE),
        (named * table.vote).sum(),
        slope[:, -1].sum(),
    ]
    gradient = np.concatenate([np.bincount(table.part_of, by_entry, len(weights)), own])
    ridge = np.full(len(numbers), _RIDGE)
    ridge[-1] = 0.0
    return float(loss + 0.5 * (ridge * pull**2).sum()), gradient + ridge * pull


def _start(size: int) -> Floats:
    start = np.full(size, TEMPER)
    start[-2:] = VOTE, 0.0
    return start


def _fit(table: _Table, *, jobs: int, new: float) -> Calibration:
    size = len(table.names) + 3
    limits = [(0.0, 2.0)] * (size - 1) + [(-8.0, 8.0)]
    found = minimize(_loss, _start(size), args=(table,), jac=True, method="L-BFGS-B", bounds=limits)
    *weights, prior, vote, other = (float(number) for number in found.x)
    return Calibration(
        vote=vote,
        other=other,
        least_other=min(LEAST_OTHER, new),
        jobs=jobs,
        weights=dict(zip(table.names, weights, strict=True)) | {"prior": prior},
    )
