"""Jobs that this process read before, by the hash of their content: read again only when changed."""

from collections import OrderedDict
from collections.abc import Iterable
from threading import Lock
from typing import Final

from sqlalchemy import Connection, select

from kb.case.model import Job
from kb.store.loading import load_jobs
from kb.store.tables import JobRow

# Ids with hashes of content, for ``known_jobs``; a condition is added to it.
HASHES: Final = select(JobRow.id, JobRow.content_hash).order_by(JobRow.id)

# A job is some 10 kB. Of 512 no more were asked for again than of 96 in ``bench_load``, with its
# thirty open jobs (our choice).
MOST_KNOWN: Final = 128


class KnownJobs:
    """The jobs that were asked for last; safe to share between threads."""

    def __init__(self, most: int = MOST_KNOWN) -> None:
        self._most = most
        self._lock = Lock()
        self._jobs: OrderedDict[str, Job] = OrderedDict()

    def get(self, content_hash: str) -> Job | None:
        """Return the job with that content, None where it is not known here."""
        with self._lock:
            if content_hash in self._jobs:
                self._jobs.move_to_end(content_hash)
            return self._jobs.get(content_hash)

    def keep(self, content_hash: str, job: Job) -> None:
        """Keep a job; the one that was asked for longest ago goes where there are too many."""
        with self._lock:
            self._jobs[content_hash] = job
            self._jobs.move_to_end(content_hash)
            while len(self._jobs) > self._most:
                self._jobs.popitem(last=False)


KNOWN: Final = KnownJobs()


def known_jobs(
    connection: Connection,
    asked: Iterable[tuple[str, str]],
    *,
    damaged: set[str] | None = None,
) -> tuple[Job, ...]:
    """Return what ``load_jobs`` returns, for a page's few jobs; reads only what is not known here.

    Parameters
    ----------
    connection : Connection
        In a transaction.
    asked : iterable of (str, str)
        Which jobs: id and hash of content of each, as ``HASHES`` with a condition gives them.
    damaged : set of str, optional
        As in ``load_jobs``.

    Raises
    ------
    StoreError
        As ``load_jobs``.
    """
    hashes = dict(asked)
    known = {job_id: KNOWN.get(content) for job_id, content in hashes.items()}
    unknown = [job_id for job_id, job in known.items() if job is None]
    for at in range(0, len(unknown), MOST_KNOWN):
        ids = tuple(unknown[at : at + MOST_KNOWN])
        for job in load_jobs(connection, ids, damaged=damaged):
            KNOWN.keep(hashes[job.id], job)
            known[job.id] = job
    return tuple(job for job in known.values() if job is not None)
