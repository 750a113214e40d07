"""Take an export into a shop: what is new is added as it was, what is there is never changed."""

from collections.abc import Iterable
from typing import Final

from kb.errors import ExchangeError
from kb.store.exported import DECISIONS, HISTORY, JOBS, SHOP_NOTES
from kb.workflow.exchange.records import End, JobRecord, Record, Refused, Start
from kb.workflow.exchange.take_jobs import JobTaker
from kb.workflow.exchange.take_rows import LineTaker, RowTaker
from kb.workflow.exchange.taken import BATCH, Taken, Taking

# The verb of the lines of history that an import writes about itself.
IMPORT_VERB: Final = "import"


def take_in(taking: Taking, records: Iterable[Record], *, name: str) -> Taken:
    """Add what the shop does not hold yet; the same export a second time adds nothing.

    A record that the shop holds in another state is refused: nothing is overwritten. An import
    that adds something writes one line of history, and one for each job that came without any.

    Parameters
    ----------
    name : str
        What is taken in, for the line of history.

    Raises
    ------
    ExchangeError
        If records are missing, unless the rules say otherwise; the caller rolls the unit back.
    VocabularyError
        If the words of the export and of the shop contradict each other.
    """
    return _TakeIn(taking, name).all(records)


class _TakeIn:
    def __init__(self, taking: Taking, name: str) -> None:
        self._taking = taking
        self._name = name
        self._start = Start(jobs=0)
        self._rows = RowTaker(taking)
        self._jobs = JobTaker(taking, self._rows.photos)
        old = frozenset(taking.unit.jobs.ids())
        self._lines = LineTaker(taking, old=old)

    def all(self, records: Iterable[Record]) -> Taken:
        """Take all records."""
        for record in records:
            if isinstance(record, Start):
                self._start = record
            elif isinstance(record, Refused):
                self._taking.taken.refused.append(record)
            elif isinstance(record, End):
                self._refuse_missing(record)
            elif isinstance(record, JobRecord):
                self._rows.flush()
                self._jobs.take(record)
                self._tell()
            else:
                taker = self._rows if record.table.key else self._lines
                if record.table is HISTORY:
                    self._jobs.flush()
                taker.take(record)
        return self._finished()

    def _tell(self) -> None:
        read = self._taking.taken.read[JOBS.name]
        if self._taking.progress is not None and read % BATCH == 0:
            self._taking.progress(read, self._start.jobs)

    def _refuse_missing(self, end: End) -> None:
        if self._taking.rules.incomplete:
            return
        if end.expected is None:
            raise ExchangeError(
                "expected an export with its last line, got one that breaks off; export it again, "
                "or take in what is there with --incomplete. Nothing was loaded"
            )
        for kind in sorted({*end.expected, *end.got}):
            expected, got = end.expected.get(kind, 0), end.got.get(kind, 0)
            if expected != got:
                raise ExchangeError(
                    f"expected {expected} records of {kind} as the export says, got {got}; "
                    "export it again, or take in what is there with --incomplete. Nothing was "
                    "loaded"
                )

    def _finished(self) -> Taken:
        for taker in (self._rows, self._jobs, self._lines):
            taker.flush()
        taken, unit = self._taking.taken, self._taking.unit
        if self._taking.rules.dry or not any(taken.added.values()):
            return taken
        bare = sorted(self._jobs.new - self._lines.told)
        unit.history.add_many(IMPORT_VERB, bare, self._name)
        unit.history.add(IMPORT_VERB, None, f"{taken.added[JOBS.name]} jobs from {self._name}")
        unit.whole.count_on(self._start.last_job, (DECISIONS, SHOP_NOTES))
        return taken
