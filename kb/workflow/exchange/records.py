"""What an export is made of, whatever it is written as: a start, rows, jobs, an end."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final, Protocol

from kb.store.exported import ExportedTable
from kb.store.whole_shop import KeptJob

# An export of another format is refused; it grows when an older program could not read a newer one.
FORMAT: Final = 1


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a record stands; ``line`` counts from 1, 0 where the file as a whole is meant."""

    file: str
    line: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """The first record: how many jobs follow, the number given to a job last, when it was made.

    ``made_at`` is None for case files that were never exported.
    """

    jobs: int
    last_job: int = 0
    made_at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class RowRecord:
    """A row of a table that lies beside the jobs."""

    place: Place
    table: ExportedTable
    values: Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class JobRecord:
    """A job with all that lies beside it."""

    place: Place
    kept: KeptJob


@dataclass(frozen=True, slots=True, kw_only=True)
class Refused:
    """A record that cannot be taken, and why."""

    place: Place
    reason: str


@dataclass(frozen=True, slots=True, kw_only=True)
class End:
    """The last record: how many records of each kind there should be, and how many there were.

    ``expected`` is None where the export breaks off before it says so.
    """

    expected: Mapping[str, int] | None
    got: Mapping[str, int]


Record = Start | RowRecord | JobRecord | Refused | End


class Sink(Protocol):
    """Where an export is written to; the calls come in this order."""

    def start(self, start: Start) -> None:
        """Take the first record."""

    def row(self, table: ExportedTable, row: Mapping[str, Any]) -> None:
        """Take a row; those of history come after the jobs, all others before."""

    def job(self, kept: KeptJob) -> None:
        """Take a job; they come in the order of their ids."""

    def end(self) -> None:
        """Finish all files."""
