"""The words that the shop added, merged and took out of use; every write is one line of history."""

import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final
from uuid import uuid4

from sqlalchemy import ColumnElement, func, insert, select, update

from kb.case.model import JobState
from kb.case.shop_rows import KINDS, MERGED_KINDS, ShopTerm
from kb.errors import ConflictError, NotFoundError, StoreError
from kb.store.asked import Asked
from kb.store.columns import own_columns
from kb.store.journal import HistoryRepository, Pen, SettingRepository
from kb.store.kept_by_state import KeptByState
from kb.store.shop_tables import ShopTermRow, UnreadRow
from kb.store.tables import ClosingRow, FindingRow, JobRow, ReadingRow

# The setting that names the state of these rows, for whoever keeps something made of them.
_STATE: Final = "state of shop terms"
_COUNTED: Final = {
    "cause": ClosingRow.cause,
    "check": FindingRow.check,
    "quantity": ReadingRow.quantity,
}
_IS_OPEN: Final = JobRow.state.in_([row.value for row in JobState if row is not JobState.CLOSED])
_UNREAD: Final = Asked(
    select(UnreadRow.word, UnreadRow.job_id).order_by(UnreadRow.at, UnreadRow.job_id)
)
# The counts of closed jobs; one small table a kind.
_KEPT: Final = KeptByState[Mapping[str, int]](len(MERGED_KINDS))


class ShopTerms:
    """The shop's terms by kind and key; a row is changed, never thrown away.

    Parameters
    ----------
    pen : Pen
        The connection, who writes and when.
    history : HistoryRepository
        Takes one line for every write.
    """

    def __init__(self, pen: Pen, history: HistoryRepository) -> None:
        self._pen = pen
        self._history = history
        self._settings = SettingRepository(pen)

    # --- reading -----------------------------------------------------------------------------

    def rows(self, kind: str | None = None) -> tuple[ShopTerm, ...]:
        """Return all rows, or those of one kind, by kind and name."""
        query = select(ShopTermRow).order_by(ShopTermRow.kind, ShopTermRow.name, ShopTermRow.key)
        if kind is not None:
            query = query.where(ShopTermRow.kind == kind)
        query = query.with_only_columns(*own_columns(ShopTermRow))
        found = self._pen.connection.execute(query).mappings()
        return tuple(term_of(row) for row in map(dict, found))

    def find(self, kind: str, key: str) -> ShopTerm | None:
        """Return one row, None where there is none."""
        return next((row for row in self.rows(kind) if row.key == key), None)

    def state(self) -> str:
        """Return what names the state of the rows; empty before the first write."""
        return self._settings.get(_STATE) or ""

    def counts(self, kind: str) -> dict[str, int]:
        """Return how many jobs name each cause, check or quantity, as written, by key.

        Raises
        ------
        StoreError
            If records do not name terms of that kind.
        """
        if kind not in MERGED_KINDS:
            raise StoreError(f"expected one of {', '.join(MERGED_KINDS)}, got '{kind}'")
        closed = _KEPT.get(self._pen, kind, lambda: self._counted(kind, ~_IS_OPEN))
        return dict(Counter(closed) + Counter(self._counted(kind, _IS_OPEN)))

    def _counted(self, kind: str, which: ColumnElement[bool]) -> dict[str, int]:
        column = _COUNTED[kind]
        job_id = column.class_.job_id
        query = select(column, func.count(job_id.distinct())).group_by(column)
        chosen = select(JobRow.id).where(which)
        rows = self._pen.connection.execute(query.where(column.is_not(None), job_id.in_(chosen)))
        return {key: number for key, number in rows if key}

    def unread(self) -> dict[str, tuple[str, ...]]:
        """Return the jobs in which each word was not understood, the last one last.

        Words of most jobs come first, then in the order of the alphabet.
        """
        jobs: dict[str, list[str]] = {}
        for word, job_id in _UNREAD.rows(self._pen.connection):
            jobs.setdefault(word, []).append(job_id)
        ordered = sorted(jobs.items(), key=lambda pair: (-len(pair[1]), pair[0]))
        return {word: tuple(found) for word, found in ordered}

    # --- writing -----------------------------------------------------------------------------

    def add(self, term: ShopTerm) -> None:
        """Add a row.

        Raises
        ------
        ConflictError
            If there is one of that kind and key.
        """
        if self.find(term.kind, term.key) is not None:
            raise ConflictError(
                f"expected a new {term.kind}, got '{term.name}', which the shop has already; "
                "change that one"
            )
        self._insert(term)
        self._note("add", term, "")

    def change(self, term: ShopTerm, *, verb: str = "change") -> None:
        """Store a new name and body of a row.

        Raises
        ------
        NotFoundError
            If there is none of that kind and key.
        """
        self._known(term.kind, term.key)
        values = {"name": term.name, "body": _text(term.body), **self._stamp()}
        self._update(term, values)
        self._note(verb, term, "")

    def merge(self, term: ShopTerm, into: str | None) -> None:
        """Let the key ``into`` stand for a term, or with None the term for itself again.

        A term that ships gets a row of its own here.
        """
        if self.find(term.kind, term.key) is None:
            self._insert(term)
        self._update(term, {"merged_into": into, **self._stamp()})
        what = f" into {into}" if into is not None else " stands for itself again"
        self._note("merge" if into is not None else "part", term, what)

    def take_out(self, term: ShopTerm, *, back: bool = False) -> None:
        """Take a term out of use, or ``back`` into it."""
        known = self.find(term.kind, term.key)
        if known is None:
            self._insert(term)
            known = term
        body = {key: value for key, value in known.body.items() if key != "out"}
        changed = replace(known, body=body if back else {**body, "out": True})
        self.change(changed, verb="put back" if back else "take out")

    def _known(self, kind: str, key: str) -> ShopTerm:
        found = self.find(kind, key)
        if found is None:
            raise NotFoundError(
                f"expected a {kind} that the shop added, got '{key[:60]}'; look at the words"
            )
        return found

    def _stamp(self) -> dict[str, Any]:
        who, at = self._pen.require()
        return {"who": who, "at": at}

    def _insert(self, term: ShopTerm) -> None:
        if term.kind not in KINDS:
            raise StoreError(f"expected a kind out of {', '.join(KINDS)}, got '{term.kind}'")
        row = {
            "kind": term.kind,
            "key": term.key,
            "name": term.name,
            "body": _text(term.body),
            "merged_into": term.merged_into,
            **self._stamp(),
        }
        self._pen.connection.execute(insert(ShopTermRow).values(row))

    def _update(self, term: ShopTerm, values: Mapping[str, Any]) -> None:
        chosen = (ShopTermRow.kind == term.kind) & (ShopTermRow.key == term.key)
        self._pen.connection.execute(update(ShopTermRow).where(chosen).values(**values))

    def renew_state(self) -> None:
        """Give the rows a new name for their state."""
        self._settings.set(_STATE, uuid4().hex)

    def _note(self, verb: str, term: ShopTerm, what: str) -> None:
        self.renew_state()
        self._history.add(f"{verb} {term.kind}", None, f"{term.name} ({term.key}){what}")


def _text(body: Mapping[str, Any]) -> str:
    return json.dumps(dict(body), ensure_ascii=False, sort_keys=True)


def term_of(row: Mapping[str, Any]) -> ShopTerm:
    """Return the term of a row; raise StoreError where its body is no JSON object."""
    try:
        body = json.loads(row["body"])
    except ValueError:
        body = None
    if not isinstance(body, dict):
        raise StoreError(
            f"expected the shop's {row['kind']} '{row['key']}' with a JSON object, got something "
            "else; restore the last backup with baybook restore"
        )
    return ShopTerm(
        kind=row["kind"],
        key=row["key"],
        name=row["name"],
        body=body,
        merged_into=row["merged_into"],
        who=row["who"],
    )
