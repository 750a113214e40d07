"""The shop's closed jobs, fitted: one memory a process, following the store in every process."""

from collections.abc import Collection
from contextlib import suppress
from dataclasses import replace
from datetime import datetime
from functools import partial
from pathlib import Path
from threading import Lock

from threadpoolctl import threadpool_limits

from kb.case.model import Job
from kb.case.shop_words import with_shop_terms
from kb.case.terms import Vocabulary
from kb.diagnosis.calibration import from_numbers
from kb.diagnosis.causes import CauseModel
from kb.retrieval.feature_chunks import FeatureChunks
from kb.retrieval.kept_arrays import kept_mark
from kb.retrieval.learned_file import read_learned, write_learned
from kb.retrieval.sample import Sample
from kb.retrieval.snapshot import read_snapshot, write_snapshot
from kb.store.data_version import Version
from kb.store.engine import Store
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.fitted import Fitted, keep_from_collector
from kb.workflow.following import Source, followed, is_due
from kb.workflow.kept_features import Making, Report, features_now, silent
from kb.workflow.last_rebuild import LastRebuild, Rebuilt, keep_rebuild, last_rebuild, new_rebuild
from kb.workflow.rebuilding import lessons, material
from kb.workflow.repair_prices import guess_of
from kb.workflow.spread import Spreading, in_one, state_stamp, write_parts_anew
from kb.workflow.suggest import Suggestion, Wanted, fit_chunks

# Folder of a kept index, and the number of closed jobs from which fitting anew costs more than
# reading it (a hundred take half a second; our choice).
SNAPSHOT = "index"
# File of what was learned on rebuild.
LEARNED = "learned.npz"
WORTH_KEEPING = 50


class Memory:
    """The shop's closed jobs, fitted; follows the store in every process.

    Parameters
    ----------
    store : Store
        The shop's database.
    words : Vocabulary
        The trade's words as they ship; ``words`` has the shop's own laid over them.
    altitude_m : float
        The shop's altitude in metres.
    folder : Path or None
        Where a large fitted index is kept for the next process; None keeps none.
    spread : callable
        Lets other processes hold the closed jobs, see ``kb.workflow.spread.Spread``.
    """

    def __init__(
        self,
        store: Store,
        words: Vocabulary,
        *,
        altitude_m: float = 0.0,
        folder: Path | None = None,
        spread: Spreading = in_one,
    ) -> None:
        self.store = store
        self._shipped = words
        self._words = ("", words)
        self.altitude_m = altitude_m
        self.folder = folder
        self._spread = spread
        self._lock = Lock()
        self._fitted: Fitted | None = None
        self._seen_kept = ""
        self._looked_at: Version | None = None

    @property
    def words(self) -> Vocabulary:
        """The trade's words with the shop's own laid over them, as they stand in the store now."""
        with self.store.read() as unit:
            return self.words_in(unit)

    def words_in(self, unit: UnitOfWork) -> Vocabulary:
        """Return those words as ``unit`` sees them."""
        state, words = self._words
        now = unit.terms.state()
        if now != state:
            words = with_shop_terms(self._shipped, unit.terms.rows())
            # One assignment, so that threads see one state or the other.
            self._words = (now, words)
        return words

    def fitted(self) -> Fitted:
        """Return the closed jobs of the present state, fitted.

        A few jobs that were written since are laid over what is fitted here or was kept; else all
        are fitted anew.
        """
        with self._lock, self.store.read() as unit:
            known = self._fitted
            if known is not None and self._is_of_present(known, unit):
                return known
            state, words, last = unit.state(), self.words_in(unit), last_rebuild(unit)
            if known is not None and known.state != state and known.state == self.store.state():
                # Who began to read before a job was closed waited here while it was fitted.
                return known
            marks = words.shop.mark, last.mark(self.folder, LEARNED)
            if known is not None and (known.terms, known.learned) != marks:
                known = None
            if known is None or known.state != state or self._kept_since(known):
                known = self._followed(unit, known, words, last=last) or self._fit(words, last)
            chunks = partial(features_now, unit, self._making(words))
            made = self._spread(known, self._stamp(words, last), chunks)
            del known
            self._looked_at = unit.version
            return self._answer_with(made)

    def _is_of_present(self, known: Fitted, unit: UnitOfWork) -> bool:
        """Return whether nobody wrote since what is fitted was held against the store."""
        # Others keep a new fit of jobs laid over ours, and a cluster loses a part, without a write.
        if known.later or self._spread is not in_one:
            return False
        return unit.version is not None and unit.version == self._looked_at

    def _answer_with(self, made: Fitted) -> Fitted:
        """Answer with ``made`` from now on, and let go of another fit that answered before."""
        before, self._fitted = self._fitted, made
        if before is None or before.base is not made.base:
            del before
            keep_from_collector()
        return made

    def _followed(
        self, unit: UnitOfWork, known: Fitted | None, words: Vocabulary, *, last: LastRebuild
    ) -> Fitted | None:
        """Return what is known here or was kept with what was written since; None where all changed."""
        if known is None or self._when_kept() != self._seen_kept:
            kept = self._kept(words, last)
            known = known if kept is None else self._taken_up(kept, last)
        return None if known is None else followed(unit, known, Source.of(unit))

    def _kept_since(self, known: Fitted) -> bool:
        """Return whether another process kept what it fitted while jobs were laid over ours."""
        return known.later > 0 and self._when_kept() != self._seen_kept

    def _when_kept(self) -> str:
        """Return what names the kept index, "" where there is none."""
        return "" if self.folder is None else kept_mark(self.folder / SNAPSHOT)

    def _taken_up(self, made: Fitted, last: LastRebuild) -> Fitted:
        mark = last.mark(self.folder, LEARNED)
        if self.folder is not None and last.learned:
            made.base.attach(read_learned(self.folder / LEARNED, key=last.name))
        return replace(made, learned=mark)

    def as_fitted(self) -> Fitted | None:
        """Return what this process fitted last, even if jobs were closed since; never fits.

        Where nothing is fitted here yet, a kept index is taken up; None where there is none, or
        while another thread is fitting.
        """
        if self._fitted is not None or not self._lock.acquire(blocking=False):
            return self._fitted
        try:
            with self.store.read() as unit:
                words, last = self.words_in(unit), last_rebuild(unit)
                made = self._followed(unit, None, words, last=last)
            return None if made is None else self._answer_with(made)
        finally:
            self._lock.release()

    def is_due(self) -> bool:
        """Return whether it is time to fit anew, as far as this process knows; never waits."""
        return self._fitted is not None and is_due(self._fitted)

    def refit(self) -> bool:
        """Fit anew and keep it for all processes if it is time to; say whether it was done."""
        if not is_due(self.fitted()):
            return False
        with self._lock:
            with self.store.read() as unit:
                words, last = self.words_in(unit), last_rebuild(unit)
            self._answer_with(self._fit(words, last))
        return True

    def _stamp(self, words: Vocabulary, last: LastRebuild) -> dict[str, object]:
        return last.stamp(altitude_m=self.altitude_m, terms=words.shop.mark)

    def _kept(self, words: Vocabulary, last: LastRebuild) -> Fitted | None:
        if self.folder is None:
            return None
        self._seen_kept = self._when_kept()
        found = read_snapshot(self.folder / SNAPSHOT, self._stamp(words, last))
        if found is None:
            return None
        model = CauseModel(words, calibration=from_numbers(found.numbers))
        model.restore(found.cases, found.further)
        model.told_ = Sample(**found.source["told"])
        source = Source(**found.source["read"])
        return Fitted.of(source, found.cases, model, altitude_m=self.altitude_m)

    def model(self) -> CauseModel:
        """Return the fitted causes as they stand now."""
        return self.fitted().model

    def rebuild(self, who: str, at: datetime, *, report: Report = silent) -> Rebuilt:
        """Fit the index, the numbers of the chances and what the closed fields teach anew.

        Below 300 closed jobs nothing is learned, and what was learned before is taken away.

        Parameters
        ----------
        who, at : str, datetime
            Who writes down what was fitted, and when (with a zone).
        report : callable
            Told how many of how many jobs were looked through.
        """
        with self._lock:
            with self.store.read() as unit:
                source, words = Source.of(unit), self.words_in(unit)
                making = self._making(words, report)
                known = material(unit, making)
            # Threads of the linear algebra wait for each other on a busy small machine: 84 s
            # became 23 s at 10,000 jobs with one.
            with threadpool_limits(limits=1):
                made = lessons(known, making)
                learned, numbers = made.learned, made.numbers
                last = new_rebuild(numbers.as_numbers(), learned=learned is not None)
                if self.folder is not None:
                    write_learned(self.folder / LEARNED, learned, key=last.name)
                with self.store.write(who, at) as unit:
                    keep_rebuild(unit, last)
                fitted = self._keep(source, known.chunks, last, words=words)
            self._fitted = None
        samples = made.samples | {"words of causes": fitted.model.told_}
        fields = len(learned.fields) if learned else 0
        return Rebuilt(numbers=numbers, fields=fields, samples=samples)

    def _fit(self, words: Vocabulary, last: LastRebuild) -> Fitted:
        with self.store.read() as unit:
            source = Source.of(unit)
            chunks = features_now(unit, self._making(words))
        made = self._keep(source, chunks, last, words=words)
        return self._taken_up(self._kept_instead(made, words, last), last)

    def _kept_instead(self, made: Fitted, words: Vocabulary, last: LastRebuild) -> Fitted:
        """Return what was fitted as it was just kept, whose pages all processes share, if it was."""
        kept = self._kept(words, last)
        return kept if kept is not None and kept.source == made.source else made

    def _making(self, words: Vocabulary, report: Report = silent) -> Making:
        return Making(words=words, altitude_m=self.altitude_m, folder=self.folder, report=report)

    def _keep(
        self, source: Source, chunks: FeatureChunks, last: LastRebuild, *, words: Vocabulary
    ) -> Fitted:
        """Fit index and model, and keep a large index for the next process."""
        numbers = last.calibration
        index, model = fit_chunks(chunks, words, calibration=numbers)
        if self.folder is not None and len(chunks) >= WORTH_KEEPING:
            stamp = self._stamp(words, last)
            write_parts_anew(self.folder, state_stamp(stamp, source), index, chunks=chunks)
            with suppress(OSError):
                write_snapshot(
                    self.folder / SNAPSHOT,
                    stamp,
                    index,
                    further=model.as_arrays(),
                    numbers=numbers.as_numbers(),
                    source={"read": source.as_values(), "told": model.told_.as_values()},
                )
            self._seen_kept = self._when_kept()
        return Fitted.of(source, index, model, altitude_m=self.altitude_m)

    def suggest(
        self, job: Job, *, top: int = 5, among: Collection[str] | None = None
    ) -> Suggestion:
        """Return the three answers for ``job``; a case closed a moment ago is among them.

        Raises
        ------
        EmptyIndexError
            If the shop has no closed job yet.
        """
        # The prices that are kept with what is fitted are those of the same moment.
        with self.store.read() as unit:
            now = self.fitted()
            found = now.explained(job, Wanted(top=top, among=among))
            return replace(found, guess=guess_of(unit, found, now))

    def size(self) -> int:
        """Return how many closed jobs the memory holds."""
        return len(self.fitted().index)
