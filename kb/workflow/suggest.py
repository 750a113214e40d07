"""The three answers while a job is open: cases like it, likely causes, the next check."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from kb.case.meant_now import as_meant_now
from kb.case.model import Job, JobState, Origin, Phase, Standing
from kb.case.standing import standing_of
from kb.case.terms import Vocabulary
from kb.diagnosis.access import access_of
from kb.diagnosis.calibration import SHIPPED, Calibration
from kb.diagnosis.causes import CauseModel
from kb.diagnosis.chances import CauseChance
from kb.diagnosis.checks import CheckAdvice, LookAdvice, next_steps
from kb.diagnosis.expected import LEAST_NATS
from kb.diagnosis.explain import Explainer, Explanation
from kb.diagnosis.guess import GuessOrCheck
from kb.errors import EmptyIndexError
from kb.retrieval.feature_chunks import FeatureChunks
from kb.retrieval.feature_table import FeatureTable
from kb.retrieval.features import CaseFeatures, case_features, finding_token
from kb.retrieval.index import NO_CASE, CaseIndex
from kb.retrieval.layers import LayeredIndex
from kb.retrieval.shards import AnyAsked, ShardedAsked
from kb.retrieval.similarity import Reason

# Likely causes that are shown, each with its reasons, beside "something else" (our choice).
CAUSES_SHOWN = 5
# Reasons shown for and against a match (our choice).
_FOR, _AGAINST = 3, 1
# Weight of a case as a witness by its standing; common practice, no source.
WITNESS = {
    Standing.PROVEN: 1.0,
    Standing.LIKELY: 0.7,
    Standing.UNPROVEN: 0.4,
    Standing.OVERTURNED: 0.0,
}
# What is left of that weight while nobody here confirmed the case of another shop: a proof that
# nobody here saw, on cars that may differ. Our choice: of the weights tried on invented shops
# (tests/benchmarks/bench_other_shop.py) the one that beat taking nothing in even where the other
# shop names two causes in five wrongly by habit, and lost little where it is always right.
FROM_ANOTHER_SHOP = 0.25


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenBefore:
    """A prior case: what it turned out to be, how far it is trusted, why it is shown.

    ``chance`` is the chance that its cause is this job's cause; ``origin`` says which shop's it is.
    """

    case: str
    score: float
    chance: float
    cause: str | None
    standing: Standing
    origin: Origin
    reasons: tuple[Reason, ...]

    @property
    def speaks_for(self) -> tuple[Reason, ...]:
        """The strongest reasons for the match."""
        return tuple([row for row in self.reasons if row.weight >= LEAST_NATS][:_FOR])

    @property
    def speaks_against(self) -> tuple[Reason, ...]:
        """The strongest reason against the match."""
        return tuple([row for row in self.reasons if row.weight <= -LEAST_NATS][:_AGAINST])


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """The three answers; ``nothing_like_it`` where "something else" leads.

    ``guess`` is there where the leading cause has a price in the shop's own cases, ``reasons``
    for the causes shown where they were asked for, ``look`` where going to look costs no more than
    checking further; ``settles`` is False where no listed check tells anything about the cause.
    Of the ``parts`` that the memory lies in, ``missing`` did not answer: their cases are left out.
    """

    matches: tuple[SeenBefore, ...]
    causes: tuple[CauseChance, ...]
    checks: tuple[CheckAdvice, ...]
    nothing_like_it: bool
    guess: GuessOrCheck | None = None
    reasons: tuple[Explanation, ...] = ()
    look: LookAdvice | None = None
    settles: bool = False
    parts: int = 1
    missing: int = 0

    @property
    def shown(self) -> tuple[CauseChance, ...]:
        """The likeliest causes by chance, "something else" always among them."""
        named = [row for row in self.causes if row.cause is not None][:CAUSES_SHOWN]
        other = [row for row in self.causes if row.cause is None]
        return tuple(sorted((*named, *other), key=lambda row: -row.chance))

    def why(self, cause: str | None) -> Explanation | None:
        """Return why ``cause`` stands where it does; None for one that is not shown."""
        return next((row for row in self.reasons if row.cause == cause), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Which prior cases are shown: the ``top`` best, with ``among`` only those of these ids."""

    top: int = 5
    among: Collection[str] | None = None


def witness_features(job: Job, words: Vocabulary, altitude_m: float) -> CaseFeatures:
    """Return the features of a closed job with its weight as a witness."""
    made = case_features(job, words, altitude_m=altitude_m)
    return replace(
        made, standing=str(standing_of(job)), origin=str(job.origin), weight=witness_weight(job)
    )


def witness_weight(job: Job) -> float:
    """Return how much a closed job counts as a witness, 0 to 1.

    The weight of its standing; a quarter of that where it came from another shop and was not confirmed
    here. It counts so in the vote of the nearest cases, in the profiles and in the prior; its words
    are found like any other's.
    """
    weight = WITNESS[standing_of(job)]
    return weight * FROM_ANOTHER_SHOP if job.origin is Origin.ANOTHER_SHOP else weight


def fit_memory(
    jobs: tuple[Job, ...],
    words: Vocabulary,
    *,
    altitude_m: float = 0.0,
    calibration: Calibration = SHIPPED,
) -> tuple[CaseIndex, CauseModel]:
    """Return index and cause model of closed jobs, the latter with the numbers given."""
    features = [witness_features(job, words, altitude_m) for job in jobs]
    return fit_features(features, words, calibration=calibration)


def fit_features(
    features: Sequence[CaseFeatures], words: Vocabulary, *, calibration: Calibration = SHIPPED
) -> tuple[CaseIndex, CauseModel]:
    """Return index and cause model of the features of closed jobs."""
    return fit_chunks(FeatureChunks([FeatureTable.of(features)]), words, calibration=calibration)


def fit_chunks(
    chunks: FeatureChunks, words: Vocabulary, *, calibration: Calibration = SHIPPED
) -> tuple[CaseIndex, CauseModel]:
    """Return index and cause model of the kept features of closed jobs."""
    index = CaseIndex().fit_tables(chunks)
    return index, CauseModel(words, calibration=calibration).fit_told(chunks.told(), index)


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


def without_waiting(job: Job) -> Job:
    """Return a job without what no answer and no picture of it follows from: what it waits for."""
    return replace(job, state=JobState.OPEN, waits_for=None) if job.waits_for else job


def suggest_from(
    index: CaseIndex | LayeredIndex,
    model: CauseModel,
    job: Job,
    *,
    wanted: Wanted = Wanted(),
    altitude_m: float = 0.0,
    explainer: Explainer | None = None,
) -> Suggestion:
    """Return the three answers for ``job`` out of a fitted index and model.

    Causes and checks are weighed over all cases, whichever are ``wanted`` as matches.
    The causes shown come with their reasons where there is an ``explainer`` of that model.

    Raises
    ------
    EmptyIndexError
        If the index holds no case.
    """
    job = as_meant_now(job, model.words)
    query = case_features(job, model.words, altitude_m=altitude_m)
    if not len(index):
        raise EmptyIndexError(NO_CASE)
    asked = index.ask(query)
    entries = model.entries(query)
    chances = model.ranked(model.weigh(asked, entries))
    by_cause = {row.cause: row.chance for row in chances if row.cause is not None}
    steps = next_steps(
        model, chances, done=_done(job, model.words), opened=_opened(job, model.words)
    )
    seen = tuple(
        SeenBefore(
            case=row.case,
            score=row.score,
            chance=by_cause.get(index.causes_[row.row] or "", 0.0),
            cause=index.causes_[row.row],
            standing=Standing(index.standings_[row.row]),
            origin=Origin(index.origins_[row.row]),
            reasons=row.reasons,
        )
        for row in asked.best(wanted.top, wanted.among)
    )
    parts, missing = _parts(asked)
    found = Suggestion(
        matches=seen,
        causes=chances,
        checks=steps.checks,
        nothing_like_it=chances[0].cause is None,
        look=steps.look,
        settles=steps.settles,
        parts=parts,
        missing=missing,
    )
    if explainer is None:
        return found
    causes = [row.cause for row in found.shown if row.cause is not None]
    return replace(found, reasons=explainer.explain(query, entries, causes))


def _parts(asked: AnyAsked) -> tuple[int, int]:
    """Return in how many parts the memory was asked, and how many of them did not answer."""
    if isinstance(asked, ShardedAsked):
        return len(asked.index.shards), asked.missing
    return 1, 0


def _done(job: Job, words: Vocabulary) -> tuple[tuple[str, str], ...]:
    """Return what is known: findings by check and subject, and checks whose readings are typed."""
    tokens = [finding_token(row, words) for row in job.findings]
    found = [tuple(token.field.split("|")[:2]) for token in tokens if token is not None]
    typed = {
        row.quantity
        for group in job.reading_sets
        if group.phase is Phase.BEFORE
        for row in group.readings
    }
    checks = words.checks.values() if typed else ()
    read = [(check.key, "") for check in checks if check.is_read(typed)]
    return (*((pair[0], pair[1]) for pair in found), *read)


def _opened(job: Job, words: Vocabulary) -> set[str]:
    """Return the access that the checks done on a job have opened."""
    done = (row for row in job.findings if row.outcome != "not_done" and row.check in words.checks)
    return {access_of(words.checks[row.check]) for row in done} - {""}
