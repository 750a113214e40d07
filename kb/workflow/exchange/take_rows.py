"""Rows that lie beside the jobs, taken into a shop: by their key, or by all that they say."""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any, Final

from typing_extensions import override

from kb.errors import KBError, ParseError
from kb.store.exported import (
    HISTORY,
    LOST_SEARCHES,
    PEOPLE,
    PHOTOS,
    SHOP_NOTES,
    SHOP_TERMS,
    ExportedTable,
)
from kb.store.photo_files import keep_as_it_is, photo_path
from kb.store.shop_terms import term_of
from kb.workflow.exchange.records import RowRecord
from kb.workflow.exchange.sound import refuse_unsound_row
from kb.workflow.exchange.taken import BATCH, NOT_OVERWRITTEN, Taking
from kb.workflow.notes import note_html

_TWIN: Final = "expected a row of its own, got one that stands before it in the export"


class RowTaker:
    """Takes rows of tables with a key, in batches of one table.

    Attributes
    ----------
    photos : set of str
        Hashes of the photos that are there by now.
    """

    def __init__(self, taking: Taking) -> None:
        self.taking = taking
        self.photos: set[str] = set()
        self._batch: list[RowRecord] = []
        self._seen: set[tuple[Any, ...]] = set()

    def take(self, record: RowRecord) -> None:
        """Take one row, sooner or later."""
        if self._batch and self._batch[0].table is not record.table:
            self.flush()
        taken = self.taking.taken
        taken.read[record.table.name] += 1
        try:
            roles = self.taking.rules.roles
            refuse_unsound_row(record.table.name, record.values, roles=roles)
        except ParseError as error:
            taken.refuse(record.place, str(error))
            return
        self._batch.append(record)
        if len(self._batch) >= BATCH:
            self.flush()

    def flush(self) -> None:
        """Write what was taken so far."""
        batch, self._batch = self._batch, []
        if not batch:
            return
        table = batch[0].table
        new = self.new(table, batch)
        if not new:
            return
        self.taking.taken.added[table.name] += len(new)
        if table is SHOP_TERMS:
            self._learn(new)
        if not self.taking.rules.dry:
            rows = [_completed(table, record.values) for record in new]
            self.taking.unit.whole.add_rows(table, rows)

    def new(self, table: ExportedTable, batch: Sequence[RowRecord]) -> list[RowRecord]:
        """Return the rows that the shop does not hold, and count or refuse the others."""
        known = self._known(table, batch)
        new = []
        for record in batch:
            key = _key(table, record.values)
            if key in known:
                self._compare(record, known[key])
            elif (table.name, key) in self._seen:
                self.taking.taken.refuse(record.place, _TWIN)
            elif table is not PHOTOS or self._has_photo(record):
                self._seen.add((table.name, key))
                new.append(record)
        return new

    def _known(
        self, table: ExportedTable, batch: Sequence[RowRecord]
    ) -> dict[tuple[Any, ...], Mapping[str, Any]]:
        whole = self.taking.unit.whole
        keys = [[record.values[name] for name in table.key] for record in batch]
        # People are few, and known by their names in whatever case.
        rows = whole.rows(table) if table is PEOPLE else whole.known(table, keys)
        return {_key(table, row): row for row in rows}

    def _compare(self, record: RowRecord, known: Mapping[str, Any]) -> None:
        table, taken = record.table, self.taking.taken
        differs = [name for name in table.same if record.values[name] != known[name]]
        if differs:
            taken.refuse(
                record.place,
                f"expected what the shop holds, got another {', '.join(differs)}; "
                f"{NOT_OVERWRITTEN}",
            )
            return
        taken.known[table.name] += 1
        if table is PHOTOS:
            self.photos.add(record.values["content_hash"])

    def _learn(self, new: Iterable[RowRecord]) -> None:
        for record in new:
            self.taking.words.add(term_of(record.values))
        # Words that contradict each other are told now, not at each job.
        self.taking.words.read()
        if not self.taking.rules.dry:
            self.taking.unit.terms.renew_state()

    def _has_photo(self, record: RowRecord) -> bool:
        content_hash, rules = record.values["content_hash"], self.taking.rules
        try:
            data = photo_path(rules.photos_from, content_hash).read_bytes()
            if not rules.dry:
                keep_as_it_is(rules.photos_to, data, content_hash)
        except OSError:
            reason = f"expected the photo {content_hash[:12]} in {rules.photos_from}, got no file"
            self.taking.taken.refuse(record.place, reason)
        except KBError as error:
            self.taking.taken.refuse(record.place, str(error))
        else:
            self.photos.add(content_hash)
            return True
        return False


class LineTaker(RowTaker):
    """Takes rows without a key, lines of history among them: known by all that they say.

    Parameters
    ----------
    old : collection of str
        Ids of the jobs that the shop held before.

    Attributes
    ----------
    told : set of str
        Ids of the jobs that had a line of history.
    """

    def __init__(self, taking: Taking, *, old: Collection[str]) -> None:
        super().__init__(taking)
        whole = taking.unit.whole
        self._old = old
        self.told: set[str] = set()
        self._known_rows = {
            HISTORY.name: _counted(HISTORY, whole.stray_history()),
            LOST_SEARCHES.name: _counted(LOST_SEARCHES, whole.rows(LOST_SEARCHES)),
        }

    @override
    def new(self, table: ExportedTable, batch: Sequence[RowRecord]) -> list[RowRecord]:
        """Return the rows that the shop does not hold, and count the others."""
        left = self._known_rows[table.name]
        new = []
        for record in batch:
            job_id, row = record.values.get("job_id"), _said(table, record.values)
            # A job that was there before has its own history here.
            if left[row] > 0 or job_id in self._old:
                left[row] -= 1
                self.taking.taken.known[table.name] += 1
            else:
                new.append(record)
            if job_id is not None:
                self.told.add(job_id)
        return new


def _key(table: ExportedTable, row: Mapping[str, Any]) -> tuple[Any, ...]:
    key = tuple(row[name] for name in table.key)
    return tuple(map(str.casefold, key)) if table is PEOPLE else key


def _said(table: ExportedTable, row: Mapping[str, Any]) -> int:
    return hash(tuple(row[column.name] for column in table.columns))


def _counted(table: ExportedTable, rows: Iterable[Mapping[str, Any]]) -> Counter[int]:
    return Counter(_said(table, row) for row in rows)


def _completed(table: ExportedTable, row: Mapping[str, Any]) -> Mapping[str, Any]:
    return {**row, "body_html": note_html(row["body"])} if table is SHOP_NOTES else row
