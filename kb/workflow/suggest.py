"""The three answers while a job is open: cases like it, likely causes, the next check."""

from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median
from threading import Lock

from kb.case.model import FixKind, Job, Standing
from kb.case.standing import standing_of
from kb.case.terms import Vocabulary
from kb.diagnosis.causes import CauseChance, CauseModel
from kb.diagnosis.checks import CheckAdvice, next_checks
from kb.diagnosis.guess import GuessOrCheck, guess_or_check
from kb.errors import EmptyIndexError
from kb.retrieval.features import CaseFeatures, case_features, finding_token
from kb.retrieval.index import NO_CASE, CaseIndex
from kb.retrieval.similarity import Reason
from kb.retrieval.snapshot import read_snapshot, write_snapshot
from kb.store.engine import Store

# Weight of a case as a witness by its standing; common practice, no source.
WITNESS = {
    Standing.PROVEN: 1.0,
    Standing.LIKELY: 0.7,
    Standing.UNPROVEN: 0.4,
    Standing.OVERTURNED: 0.0,
}

# Setting with the shop's labour rate in cents an hour, its value until it is set (our choice), and
# how many of the newest cases of a cause are asked for their price.
LABOUR_RATE = "labour cents an hour"
LABOUR_CENTS_AN_HOUR = 13_000
MOST_PRICED = 9
# File of a kept index, and the number of closed jobs from which fitting anew costs more than
# reading it (a hundred take half a second; our choice).
SNAPSHOT = "index.npz"
WORTH_KEEPING = 50


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

    ``guess`` is there where the leading cause has a price in the shop's own cases.
    """

    matches: tuple[SeenBefore, ...]
    causes: tuple[CauseChance, ...]
    checks: tuple[CheckAdvice, ...]
    nothing_like_it: bool
    guess: GuessOrCheck | None = None


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


def repair_price(job: Job) -> int | None:
    """Return the price of the repair that was chosen, in cents; None where none was written."""
    options = job.closing.options if job.closing else ()
    prices = [row.price_cents for row in options if row.chosen and row.kind is not FixKind.DECLINED]
    return prices[0] if prices and prices[0] else None


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
        found = suggest_from(now.index, now.model, job, top=top, altitude_m=self.altitude_m)
        return replace(found, guess=self._guess(found))

    def _guess(self, found: Suggestion) -> GuessOrCheck | None:
        best = found.causes[0]
        if best.cause is None or not found.checks:
            return None
        with self.store.read() as unit:
            cases = [unit.jobs.get(case) for case in best.cases[-MOST_PRICED:]]
            rate = int(unit.settings.get(LABOUR_RATE) or LABOUR_CENTS_AN_HOUR)
        prices = [cents for job in cases if (cents := repair_price(job)) is not None]
        if not prices:
            return None
        check = found.checks[0]
        return guess_or_check(
            best.cause,
            best.chance,
            repair_cents=round(median(prices)),
            check=check.check,
            check_cents=max(1, round(check.minutes * rate / 60)),
        )

    def size(self) -> int:
        """Return how many closed jobs the memory holds."""
        return len(self._current().index.ids_)
