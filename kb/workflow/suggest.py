"""The three answers while a job is open: cases like it, likely causes, the next check."""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from threading import Lock

from kb.case.model import Job, JobState, Phase, Standing
from kb.case.standing import standing_of
from kb.case.terms import Vocabulary
from kb.diagnosis.calibrate import LEAST_JOBS, ClosedJob, calibrate
from kb.diagnosis.calibration import SHIPPED, Calibration, from_numbers
from kb.diagnosis.causes import CauseChance, CauseModel
from kb.diagnosis.checks import CheckAdvice, next_checks
from kb.diagnosis.findings import FindingAdvice, next_findings
from kb.errors import EmptyIndexError
from kb.retrieval.features import CaseFeatures, case_features, finding_token
from kb.retrieval.index import NO_CASE, CaseIndex
from kb.retrieval.similarity import Reason
from kb.retrieval.snapshot import kept_numbers, read_snapshot, write_snapshot
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
WORTH_KEEPING = 500
# The numbers are fitted anew when the memory has grown by this factor since (our choice).
GROWN = 1.25


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
    """The three answers; ``nothing_like_it`` where "something else" leads.

    ``findings`` are worth recording next where no check of the catalogue is.
    """

    matches: tuple[SeenBefore, ...]
    causes: tuple[CauseChance, ...]
    checks: tuple[CheckAdvice, ...]
    nothing_like_it: bool
    findings: tuple[FindingAdvice, ...] = ()


@dataclass(frozen=True, slots=True)
class _Fitted:
    state: str
    index: CaseIndex
    model: CauseModel


def witness_features(job: Job, words: Vocabulary, altitude_m: float) -> CaseFeatures:
    """Return the features of a closed job, weighted by its standing."""
    standing = standing_of(job)
    made = case_features(job, words, altitude_m=altitude_m)
    return replace(made, standing=str(standing), weight=WITNESS[standing])


def fit_memory(
    jobs: tuple[Job, ...],
    words: Vocabulary,
    *,
    altitude_m: float = 0.0,
    calibration: Calibration = SHIPPED,
) -> tuple[CaseIndex, CauseModel]:
    """Return index and cause model of closed jobs, the latter with the numbers given."""
    features = [witness_features(job, words, altitude_m) for job in jobs]
    index = CaseIndex().fit(features)
    return index, CauseModel(words, calibration=calibration).fit(features, index)


def calibrate_memory(
    jobs: Sequence[Job], words: Vocabulary, *, altitude_m: float = 0.0
) -> Calibration:
    """Return the numbers fitted on closed jobs, each asked as it was first written up."""
    pairs = [
        ClosedJob(
            stored=witness_features(job, words, altitude_m),
            asked=case_features(as_written_up(job), words, altitude_m=altitude_m),
        )
        for job in jobs
    ]
    return calibrate(pairs, words)


def as_written_up(job: Job) -> Job:
    """Return a closed job as it stood before any check: complaint, symptoms, readings, codes."""
    before = tuple(
        replace(group, finding=None)
        for group in job.reading_sets
        if group.phase is Phase.BEFORE and group.finding is None
    )
    return replace(
        job,
        state=JobState.OPEN,
        closing=None,
        findings=(),
        tried=(),
        fields=(),
        body="",
        reading_sets=before,
    )


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
    checks = next_checks(model, chances, done=_done(job))
    return Suggestion(
        matches=seen,
        causes=chances,
        checks=checks,
        nothing_like_it=chances[0].cause is None,
        findings=() if checks else next_findings(model, asked, chances),
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
        self._calibration: Calibration | None = None

    def _current(self) -> _Fitted:
        with self._lock:
            state = self.store.state()
            if self._fitted is None or self._fitted.state != state:
                self._fitted = self._kept(state) or self._fit()
            return self._fitted

    def _stamp(self, state: str) -> dict[str, object]:
        return {"state": state, "altitude_m": self.altitude_m}

    def _kept(self, state: str) -> _Fitted | None:
        if self.folder is None:
            return None
        found = read_snapshot(self.folder / SNAPSHOT, self._stamp(state))
        if found is None:
            return None
        index, spaces = found
        numbers = from_numbers(kept_numbers(self.folder / SNAPSHOT))
        model = CauseModel(self.words, calibration=numbers).restore(index, spaces)
        return _Fitted(state, index, model)

    def _numbers(self, jobs: Sequence[Job]) -> Calibration:
        """Return the numbers at hand while they are recent, else those that the jobs give."""
        at_hand = self._calibration
        if at_hand is None and self.folder is not None:
            at_hand = from_numbers(kept_numbers(self.folder / SNAPSHOT))
        if at_hand is None or len(jobs) > GROWN * max(at_hand.tried, LEAST_JOBS - 1):
            at_hand = calibrate_memory(jobs, self.words, altitude_m=self.altitude_m)
        self._calibration = at_hand
        return at_hand

    def _fit(self) -> _Fitted:
        with self.store.read() as unit:
            state = unit.state()
            jobs = tuple(unit.jobs.closed_jobs())
        numbers = self._numbers(jobs)
        index, model = fit_memory(jobs, self.words, altitude_m=self.altitude_m, calibration=numbers)
        if self.folder is not None and len(jobs) >= WORTH_KEEPING:
            stamp = self._stamp(state)
            with suppress(OSError):
                write_snapshot(
                    self.folder / SNAPSHOT,
                    stamp,
                    index,
                    spaces=model.spaces_,
                    numbers=numbers.as_numbers(),
                )
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
