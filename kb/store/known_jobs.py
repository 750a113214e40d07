"""Jobs that this process read before, by the hash of their content: read again only when changed."""

from collections import OrderedDict
from threading import Lock
from typing import Final

from kb.case.model import Job

# A job is some 10 kB, so all of them are a few megabytes (our choice).
MOST_KNOWN: Final = 512


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
