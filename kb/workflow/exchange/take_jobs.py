"""Jobs of an export, taken into a shop with all that lies beside them."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import replace

from kb.errors import ParseError
from kb.store.exported import JOBS, PHOTOS
from kb.store.whole_shop import KeptJob
from kb.workflow.exchange.records import JobRecord
from kb.workflow.exchange.sound import refuse_unsound_job
from kb.workflow.exchange.taken import BATCH, NOT_OVERWRITTEN, Taking

_PHOTOS = "job_photos"


class JobTaker:
    """Takes jobs in batches.

    Parameters
    ----------
    photos : collection of str
        Hashes of the photos that came with the export.

    Attributes
    ----------
    new : set of str
        Ids of the jobs that were added.
    """

    def __init__(self, taking: Taking, photos: Collection[str]) -> None:
        self.taking = taking
        self.new: set[str] = set()
        self._photos = photos
        self._batch: list[JobRecord] = []
        self._invoices: set[str] = set()

    def take(self, record: JobRecord) -> None:
        """Take one job, sooner or later."""
        self.taking.taken.read[JOBS.name] += 1
        self._batch.append(record)
        if len(self._batch) >= BATCH:
            self.flush()

    def flush(self) -> None:
        """Write what was taken so far."""
        batch, self._batch = self._batch, []
        if not batch:
            return
        new = [self._with_photos_that_came(record) for record in self._new_of(batch)]
        if not new:
            return
        self.taking.taken.added[JOBS.name] += len(new)
        if not self.taking.rules.dry:
            self.taking.unit.whole.add_jobs(new)

    def _new_of(self, batch: Sequence[JobRecord]) -> Iterable[JobRecord]:
        unit, taken = self.taking.unit, self.taking.taken
        ids = [record.kept.job.id for record in batch]
        known = {job.id: job for job in unit.jobs.some(ids)}
        invoices = [number for record in batch if (number := record.kept.job.invoice)]
        held = unit.whole.invoices(invoices)
        for record in batch:
            job = record.kept.job
            if known.get(job.id) == job:
                taken.known[JOBS.name] += 1
                continue
            reason = None
            if job.id in known:
                reason = f"the shop holds another state of it; {NOT_OVERWRITTEN}"
            elif job.id in self.new:
                reason = "a job of that id stands before it in the export"
            elif job.invoice and job.invoice in held | self._invoices:
                reason = f"another job has the invoice number {job.invoice}"
            if self._refused(record, reason):
                continue
            self.new.add(job.id)
            if job.invoice:
                self._invoices.add(job.invoice)
            yield record

    def _refused(self, record: JobRecord, reason: str | None) -> bool:
        if reason is None:
            try:
                refuse_unsound_job(record.kept, self.taking.words.read())
            except ParseError as error:
                reason = str(error)
        if reason is not None:
            self.taking.taken.refuse(record.place, f"job {record.kept.job.id}: {reason}")
        return reason is not None

    def _with_photos_that_came(self, record: JobRecord) -> KeptJob:
        kept = record.kept
        rows = kept.beside.get(_PHOTOS, ())
        here = [row for row in rows if self._is_here(row["content_hash"])]
        if len(here) < len(rows):
            lost = len(rows) - len(here)
            self.taking.taken.refuse(record.place, f"job {kept.job.id}: {lost} photos did not come")
            return replace(kept, beside={**kept.beside, _PHOTOS: here})
        return kept

    def _is_here(self, content_hash: str) -> bool:
        if content_hash in self._photos:
            return True
        return any(self.taking.unit.whole.known(PHOTOS, [[content_hash]]))
