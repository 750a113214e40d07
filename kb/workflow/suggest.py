"""The three answers while a job is open: cases like it, likely causes, the next check."""

from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from threading import Lock

from kb.case.model import Job, Standing
from kb.case.standing import standing_of
from kb.case.terms import Vocabulary
from kb.diagnosis.causes import CauseChance, CauseModel
from kb.diagnosis.checks import CheckAdvice, next_checks
from kb.errors import EmptyIndexError
from kb.retrieval.features import CaseFeatures, case_features, finding_token
from kb.retrieval.index import NO_CASE, CaseIndex
from kb.retrieval.learn import fit_learned
from kb.retrieval.learned_file import read_learned, write_learned
from kb.retrieval.similarity import Reason
from kb.retrieval.snapshot import read_snapshot, write_snapshot
from kb.retrieval.weigh import fit_weight
from kb.store.engine import Store

# Weight of a case as a witness by its standing; common practice, no source.
WITNESS = {
    Standing.PROVEN: 1.0,
    Standing.LIKELY: 0.7,
    Standing.UNPROVEN: 0.4,
    Standing.OVERTURNED: 0.0,
}

# File of a kept index, and the number of closed jobs from which fitting anew costs more than
# reading it (about 300 fit in the time that a file takes; our choice).
SNAPSHOT = "index.npz"
# File of what was learned on rebuild, and closed jobs from which it is learned: below 300 nothing
# is gained.
LEARNED = "learned.npz"
WORTH_LEARNING = 300
WORTH_KEEPING = 500


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
    state: str
    index: CaseIndex
    model: CauseModel
    learned: int = 0


def witness_features(job: Job, words: Vocabulary, altitude_m: float) -> CaseFeatures:
    """Return the features of a closed job, weighted by its standing."""
    standing = standing_of(job)
    made = case_features(job, words, altitude_m=altitude_m)
    return replace(made, standing=str(standing), weight=WITNESS[standing])


def fit_memory(
    jobs: tuple[Job, ...], words: Vocabulary, *, altitude_m: float = 0.0
) -> tuple[CaseIndex, CauseModel]:
    """Return index and cause model of closed jobs."""
    features = [witness_features(job, words, altitude_m) for job in jobs]
    index = CaseIndex().fit(features)
    return index, CauseModel(words).fit(features, index)


def suggest_from(
    index: CaseIndex, model: CauseModel, job: Job, *, top: int = 5, altitude_m: float = 0.0
) -> Suggestion:
    """Return the three answers for ``job`` out of a fitted index and model.

    Raises
    ------
    EmptyIndexError
        If the index holds no case.
    """
    query = case_features(job, model.words, altitude_m=altitude_m)
    if not index.ids_:
        raise EmptyIndexError(NO_CASE)
    asked = index.ask(query)
    chances = model.chances(asked)
    by_cause = {row.cause: row.chance for row in chances if row.cause is not None}
    seen = tuple(
        SeenBefore(
            case=row.case,
            score=row.score,
            chance=by_cause.get(index.causes_[row.row] or "", 0.0),
            cause=index.causes_[row.row],
            standing=Standing(index.standings_[row.row]),
            reasons=row.reasons,
        )
        for row in asked.best(top)
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
    """The shop's closed jobs, fitted; follows the store in every process.

    Parameters
    ----------
    store : Store
        The shop's database.
    words : Vocabulary
        The trade's words.
    altitude_m : float
        The shop's altitude in metres.
    folder : Path or None
        Where a large fitted index is kept for the next process; None keeps none.
    """

    def __init__(
        self,
        store: Store,
        words: Vocabulary,
        *,
        altitude_m: float = 0.0,
        folder: Path | None = None,
    ) -> None:
        self.store = store
        self.words = words
        self.altitude_m = altitude_m
        self.folder = folder
        self._lock = Lock()
        self._fitted: _Fitted | None = None

    def _current(self) -> _Fitted:
        with self._lock:
            state, mark = self.store.state(), self._learned_mark()
            if self._fitted is None or (self._fitted.state, self._fitted.learned) != (state, mark):
                made = self._kept(state) or self._fit()
                if self.folder is not None:
                    made.index.attach(read_learned(self.folder / LEARNED))
                self._fitted = replace(made, learned=mark)
            return self._fitted

    def _learned_mark(self) -> int:
        """Return when the learned file was written, 0 where there is none."""
        if self.folder is None:
            return 0
        try:
            return (self.folder / LEARNED).stat().st_mtime_ns
        except OSError:
            return 0

    def rebuild(self) -> int:
        """Learn anew from all closed jobs and keep it; return how many fields were learned.

        Below 300 closed jobs nothing is learned, and what was learned before is taken away.
        """
        if self.folder is None:
            return 0
        with self.store.read() as unit:
            jobs = tuple(unit.jobs.closed_jobs())
        made = [witness_features(job, self.words, self.altitude_m) for job in jobs]
        found = fit_learned(made) if len(jobs) >= WORTH_LEARNING else None
        if found is None:
            (self.folder / LEARNED).unlink(missing_ok=True)
            return 0
        write_learned(self.folder / LEARNED, replace(found, weight=fit_weight(made)))
        return len(found.fields)

    def _stamp(self, state: str) -> dict[str, object]:
        return {"state": state, "altitude_m": self.altitude_m}

    def _kept(self, state: str) -> _Fitted | None:
        if self.folder is None:
            return None
        found = read_snapshot(self.folder / SNAPSHOT, self._stamp(state))
        if found is None:
            return None
        index, spaces = found
        return _Fitted(state, index, CauseModel(self.words).restore(index, spaces))

    def _fit(self) -> _Fitted:
        with self.store.read() as unit:
            state = unit.state()
            jobs = tuple(unit.jobs.closed_jobs())
        index, model = fit_memory(jobs, self.words, altitude_m=self.altitude_m)
        if self.folder is not None and len(jobs) >= WORTH_KEEPING:
            stamp = self._stamp(state)
            with suppress(OSError):
                write_snapshot(self.folder / SNAPSHOT, stamp, index, spaces=model.spaces_)
        return _Fitted(state, index, model)

    def suggest(self, job: Job, *, top: int = 5) -> Suggestion:
        """Return the three answers for ``job``; a case closed a moment ago is among them.

        Raises
        ------
        EmptyIndexError
            If the shop has no closed job yet.
        """
        now = self._current()
        return suggest_from(now.index, now.model, job, top=top, altitude_m=self.altitude_m)

    def size(self) -> int:
        """Return how many closed jobs the memory holds."""
        return len(self._current().index.ids_)
