"""The closed jobs of one state of the store, fitted: what answers without looking at the store."""

import gc
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field, replace
from threading import Lock
from typing import TYPE_CHECKING, Final, Self

from cachetools import LRUCache

from kb.case.meant_now import as_meant_now
from kb.case.model import Job
from kb.diagnosis.causes import CauseModel
from kb.diagnosis.chances import CauseChance
from kb.diagnosis.explain import Explainer
from kb.retrieval.features import CaseFeatures, case_features
from kb.retrieval.index import CaseIndex
from kb.retrieval.layers import LayeredIndex
from kb.retrieval.shards import Asking, ShardedIndex
from kb.workflow.suggest import Suggestion, Wanted, suggest_from, without_waiting

if TYPE_CHECKING:
    from kb.workflow.following import Source

# Jobs whose answers a process remembers, some 50 kB each: those of open jobs and of texts that are
# asked again. A load of pages took a tenth less processor time than with 128 (our choice).
MOST_REMEMBERED: Final = 512


class _Remembered:
    """Answers that follow from the job and from what is fitted, neither of which ever changes."""

    def __init__(self) -> None:
        self._lock = Lock()
        self._answers: LRUCache[tuple[Job, int], Suggestion] = LRUCache(MOST_REMEMBERED)

    def get(self, job: Job, top: int) -> Suggestion | None:
        with self._lock:
            return self._answers.get((job, top))

    def keep(self, job: Job, top: int, found: Suggestion) -> None:
        """Keep an answer; one that a part of the memory is missing from is asked for again."""
        if not found.missing:
            with self._lock:
                self._answers[job, top] = found


def keep_from_collector() -> None:
    """Keep all that is fitted now from the collector of cycles, and let go of what was before.

    What is fitted stays for long, and need not be looked through again and again, which takes 0.28
    s at 10,000 jobs, once in a few hundred questions. It has cycles: one that was fitted before
    would never go.
    """
    if gc.get_freeze_count():
        gc.unfreeze()
        gc.collect()
    gc.freeze()


@dataclass(frozen=True, slots=True)
class Fitted:
    """Index and causes as they were fitted.

    ``source`` and ``terms`` name what of the store they stand for, ``base_source`` from what the
    index was fitted that later cases lie over, ``learned`` the last rebuild and
    when its file was written. ``new_causes`` are those of later cases that
    no fitted one had. ``prices`` takes what the repair of a cause cost in
    cases of that state in cents, None where no price was written.
    """

    source: "Source"
    base_source: "Source"
    terms: str
    index: CaseIndex | LayeredIndex
    model: CauseModel
    explainer: Explainer
    altitude_m: float = 0.0
    learned: str = ""
    new_causes: frozenset[str] = frozenset()
    prices: dict[str | None, int | None] = field(default_factory=dict, repr=False, compare=False)
    _remembered: _Remembered = field(
        default_factory=_Remembered, init=False, repr=False, compare=False
    )

    @classmethod
    def of(
        cls, source: "Source", index: CaseIndex, model: CauseModel, *, altitude_m: float
    ) -> Self:
        """Return what was fitted on the closed jobs of ``source``."""
        mark = model.words.shop.mark
        return cls(source, source, mark, index, model, Explainer(model), altitude_m=altitude_m)

    @property
    def state(self) -> str:
        """The state of the closed jobs that it stands for."""
        return self.source.state

    @property
    def base(self) -> CaseIndex:
        """The index as it was fitted."""
        return self.index if isinstance(self.index, CaseIndex) else self.index.base

    @property
    def later(self) -> int:
        """How many cases came, changed or went since they were fitted."""
        return self.index.later if isinstance(self.index, LayeredIndex) else 0

    def with_later(
        self, source: "Source", cases: Sequence[CaseFeatures], touched: Collection[str]
    ) -> Self:
        """Return it with jobs that were written since.

        Parameters
        ----------
        source : Source
            What it stands for then.
        cases : sequence of CaseFeatures
            Those of the written jobs that are closed and may be witnesses.
        touched : collection of str
            Ids of all written jobs.
        """
        layered = self.index
        if not isinstance(layered, LayeredIndex):
            layered = LayeredIndex(layered)
        known = set(self.model.causes_)
        new = {case.cause for case in cases if case.cause is not None} - known
        index = layered.changed(cases, touched)
        return replace(
            self,
            source=source,
            index=index,
            model=self.model.following(index),
            new_causes=self.new_causes | new,
            prices={},
        )

    def in_parts(self, shards: Asking) -> Self:
        """Return it with the cases of the base in shards."""
        known = self.index
        later, gone = (
            ((), None) if isinstance(known, CaseIndex) else (known.later_layers, known.gone)
        )
        return replace(self, index=ShardedIndex(self.base, shards, later, gone=gone))

    def holds(self, job_id: str) -> bool:
        """Return whether the job itself is among the fitted ones."""
        return self.index.holds(job_id)

    def suggest(self, job: Job, wanted: Wanted) -> Suggestion:
        """Return the three answers for ``job``, without reasons.

        Raises
        ------
        EmptyIndexError
            If no closed job is fitted.
        """
        return suggest_from(self.index, self.model, job, wanted=wanted, altitude_m=self.altitude_m)

    def explained(self, job: Job, wanted: Wanted) -> Suggestion:
        """Return the three answers for ``job`` with their reasons; remembered where all may match.

        Raises
        ------
        EmptyIndexError
            If no closed job is fitted.
        """
        if wanted.among is not None:
            return self._explained(job, wanted)
        job = without_waiting(job)
        found = self._remembered.get(job, wanted.top)
        if found is None:
            found = self._explained(job, wanted)
            self._remembered.keep(job, wanted.top, found)
        return found

    def _explained(self, job: Job, wanted: Wanted) -> Suggestion:
        return suggest_from(
            self.index,
            self.model,
            job,
            wanted=wanted,
            altitude_m=self.altitude_m,
            explainer=self.explainer,
        )

    def chances(self, job: Job) -> tuple[CauseChance, ...]:
        """Return the chances of the causes of ``job``, the likeliest first, and nothing else."""
        meant = as_meant_now(job, self.model.words)
        query = case_features(meant, self.model.words, altitude_m=self.altitude_m)
        return self.model.ranked(self.model.weigh(self.index.ask(query), self.model.entries(query)))
