"""The three answers while a job is open: cases like it, likely causes, the next check."""

from dataclasses import dataclass
from threading import Lock

from kb.case.model import Job, Standing
from kb.case.standing import standing_of
from kb.case.terms import Vocabulary
from kb.diagnosis.causes import CauseChance, CauseModel
from kb.diagnosis.checks import CheckAdvice, next_checks
from kb.errors import EmptyIndexError
from kb.retrieval.features import CaseFeatures, case_features, finding_token
from kb.retrieval.index import NO_CASE, CaseIndex
from kb.retrieval.similarity import Reason
from kb.store.engine import Store

# Weight of a case as a witness by its standing; common practice, no source.
WITNESS = {
    Standing.PROVEN: 1.0,
    Standing.LIKELY: 0.7,
    Standing.UNPROVEN: 0.4,
    Standing.OVERTURNED: 0.0,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenBefore:
    """A prior case: what it turned out to be, how far it is trusted, why it is shown.

    ``chance`` is the chance that its cause is this job's cause.
    """

    case: str
    score: float
    chance: float
    cause: str | None
    standing: Standing
    reasons: tuple[Reason, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """The three answers; ``nothing_like_it`` where "something else" leads."""

    matches: tuple[SeenBefore, ...]
    causes: tuple[CauseChance, ...]
    checks: tuple[CheckAdvice, ...]
    nothing_like_it: bool


@dataclass(frozen=True, slots=True)
class _Fitted:
    generation: int
    index: CaseIndex
    model: CauseModel
    jobs: dict[str, Job]


def witness_features(job: Job, words: Vocabulary, altitude_m: float) -> CaseFeatures:
    """Return the features of a closed job, weighted by its standing."""
    weight = WITNESS[standing_of(job)]
    return case_features(job, words, weight=weight, altitude_m=altitude_m)


def fit_memory(
    jobs: tuple[Job, ...], words: Vocabulary, *, altitude_m: float = 0.0
) -> tuple[CaseIndex, CauseModel]:
    """Return index and cause model of closed jobs."""
    features = [witness_features(job, words, altitude_m) for job in jobs]
    return CaseIndex().fit(features), CauseModel(words).fit(features)


def suggest_from(
    index: CaseIndex, model: CauseModel, job: Job, *, jobs: dict[str, Job], top: int = 5
) -> Suggestion:
    """Return the three answers for ``job`` out of a fitted index and model."""
    query = case_features(job, model.words)
    if not index.cases_:
        raise EmptyIndexError(NO_CASE)
    asked = index.ask(query)
    matches, chances = asked.best(top), model.chances(asked)
    by_cause = {row.cause: row.chance for row in chances if row.cause is not None}
    seen = tuple(
        SeenBefore(
            case=row.case,
            score=row.score,
            chance=by_cause.get(index.causes_[row.row] or "", 0.0),
            cause=index.causes_[row.row],
            standing=standing_of(jobs[row.case]),
            reasons=row.reasons,
        )
        for row in matches
    )
    return Suggestion(
        matches=seen,
        causes=chances,
        checks=next_checks(model, chances, done=_done(job)),
        nothing_like_it=chances[0].cause is None,
    )


def _done(job: Job) -> tuple[tuple[str, str], ...]:
    tokens = [finding_token(row) for row in job.findings]
    known = [tuple(token.field.split("|")[:2]) for token in tokens if token is not None]
    return tuple((pair[0], pair[1]) for pair in known)


class Memory:
    """The shop's closed jobs, fitted; follows the store's generation in every process."""

    def __init__(self, store: Store, words: Vocabulary, *, altitude_m: float = 0.0) -> None:
        self.store = store
        self.words = words
        self.altitude_m = altitude_m
        self._lock = Lock()
        self._fitted: _Fitted | None = None

    def _current(self) -> _Fitted:
        with self._lock:
            generation = self.store.generation()
            if self._fitted is None or self._fitted.generation != generation:
                self._fitted = self._fit(generation)
            return self._fitted

    def _fit(self, generation: int) -> _Fitted:
        with self.store.read() as unit:
            jobs = tuple(unit.jobs.closed_jobs())
        index, model = fit_memory(jobs, self.words, altitude_m=self.altitude_m)
        return _Fitted(generation, index, model, {job.id: job for job in jobs})

    def suggest(self, job: Job, *, top: int = 5) -> Suggestion:
        """Return the three answers for ``job``; a case closed a moment ago is among them.

        Raises
        ------
        EmptyIndexError
            If the shop has no closed job yet.
        """
        now = self._current()
        return suggest_from(now.index, now.model, job, jobs=now.jobs, top=top)

    def size(self) -> int:
        """Return how many closed jobs the memory holds."""
        return len(self._current().jobs)

    def case(self, case_id: str) -> Job | None:
        """Return a closed job that the memory holds."""
        return self._current().jobs.get(case_id)
