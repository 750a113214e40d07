"""Write a whole shop into a folder, in as many forms as are wanted, in one reading of the store."""

import json
import shutil
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Any, Final

from kb.errors import ExchangeError
from kb.store.exported import BEFORE_JOBS, HISTORY, JOBS, PHOTOS, REVIEWS, SETTINGS, ExportedTable
from kb.store.photo_files import photo_path
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.exchange.case_files import CasesSink
from kb.workflow.exchange.csv_tables import TablesSink
from kb.workflow.exchange.lines import LinesSink
from kb.workflow.exchange.records import Sink, Start
from kb.workflow.exchange.schema import export_schema
from kb.workflow.exchange.sound import KEPT_SETTINGS
from kb.workflow.exchange.taken import BATCH

FORMATS: Final[dict[str, Callable[[Path], Sink]]] = {
    "cases": CasesSink,
    "jsonl": LinesSink,
    "csv": TablesSink,
}
SCHEMA_FILE: Final = "schema.json"
PHOTO_FOLDER: Final = "photos"


@dataclass(slots=True, kw_only=True)
class Given:
    """How many records went out by kind; jobs that are damaged and photos whose file is gone."""

    counts: Counter[str] = field(default_factory=Counter)
    damaged: list[str] = field(default_factory=list)
    photos_gone: list[str] = field(default_factory=list)


def give_out(
    unit: UnitOfWork,
    folder: Path,
    *,
    forms: Sequence[str],
    photos: Path,
    at: datetime,
    progress: Callable[[int, int], None] | None = None,
) -> Given:
    """Write everything that the shop holds into a new folder.

    Parameters
    ----------
    forms : sequence of str
        Out of ``FORMATS``.
    photos : Path
        Where the shop keeps its photos.

    Raises
    ------
    ExchangeError
        If the folder is there and not empty.
    """
    with _aside(folder) as made:
        sinks = [FORMATS[form](made) for form in forms]
        given = _Giving(unit, sinks).all(at, progress)
        given.photos_gone = _copy_photos(unit, photos, made / PHOTO_FOLDER)
        text = json.dumps(export_schema(), indent=1, ensure_ascii=False)
        (made / SCHEMA_FILE).write_text(text + "\n", encoding="utf-8")
    return given


@contextmanager
def _aside(folder: Path) -> Iterator[Path]:
    """Yield a folder that becomes ``folder`` once it is whole; only its owner may look into it."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise ExchangeError(f"expected a new or empty folder, got {folder}; choose another name")
    made = folder.with_name(f"{folder.name}.part")
    try:
        made.mkdir(mode=0o700, parents=True)
    except FileExistsError as error:
        raise ExchangeError(
            f"expected no folder {made}, got one, of an export that runs or broke off; "
            "take it away first"
        ) from error
    try:
        yield made
        if folder.exists():
            folder.rmdir()
        made.rename(folder)
    finally:
        shutil.rmtree(made, ignore_errors=True)


class _Giving:
    def __init__(self, unit: UnitOfWork, sinks: Sequence[Sink]) -> None:
        self._unit = unit
        self._sinks = sinks
        self._given = Given()

    def all(self, at: datetime, progress: Callable[[int, int], None] | None) -> Given:
        """Write all records."""
        ids = sorted(self._unit.jobs.ids())
        start = Start(jobs=len(ids), last_job=self._unit.whole.last_job(), made_at=at)
        for sink in self._sinks:
            sink.start(start)
        for table in BEFORE_JOBS:
            self._rows(table)
        for done in range(0, len(ids), BATCH):
            self._jobs(ids[done : done + BATCH])
            if progress is not None:
                progress(min(done + BATCH, len(ids)), len(ids))
        self._rows(HISTORY)
        for sink in self._sinks:
            sink.end()
        return self._given

    def _rows(self, table: ExportedTable) -> None:
        for row in self._unit.whole.rows(table):
            if _goes_out(table, row):
                self._given.counts[table.name] += 1
                for sink in self._sinks:
                    sink.row(table, row)

    def _jobs(self, ids: Sequence[str]) -> None:
        kept, damaged = self._unit.whole.jobs(ids)
        self._given.damaged += damaged
        self._given.counts[JOBS.name] += len(kept)
        for job in kept:
            for sink in self._sinks:
                sink.job(job)


def _goes_out(table: ExportedTable, row: Mapping[str, Any]) -> bool:
    if table is SETTINGS:
        return row["key"] in KEPT_SETTINGS
    # A review that is being counted just now is none yet.
    return table is not REVIEWS or row["body"] is not None


def _copy_photos(unit: UnitOfWork, photos: Path, folder: Path) -> list[str]:
    gone = []
    for row in unit.whole.rows(PHOTOS):
        source, target = (photo_path(where, row["content_hash"]) for where in (photos, folder))
        if not source.is_file():
            gone.append(row["content_hash"])
            continue
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(source, target)
    return gone
