"""Notes of the shop about a pattern; every write is one line of history."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields
from datetime import datetime
from typing import Any, Final

from sqlalchemy import ColumnElement, insert, select, update

from kb.errors import NotFoundError
from kb.store.asked import Asked
from kb.store.columns import LARGEST_ID, own_columns
from kb.store.journal import HistoryRepository, Pen
from kb.store.week_tables import ShopNoteRow


@dataclass(frozen=True, slots=True, kw_only=True)
class Pattern:
    """Which jobs a note is for: whatever is set must fit the job."""

    system: str | None = None
    cause: str | None = None
    symptom: str | None = None
    make: str | None = None
    model: str | None = None


FIELDS: Final = tuple(row.name for row in fields(Pattern))
_PATTERNS: Final = Asked(
    select(*(ShopNoteRow.__table__.c[name] for name in ("id", *FIELDS)))
    .where(ShopNoteRow.active.is_(True))
    .order_by(ShopNoteRow.id.desc())
)


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteText:
    """A note as it was written: title, Markdown, the HTML that it makes, and its pattern."""

    title: str
    body: str
    body_html: str
    pattern: Pattern


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """A kept note; ``at`` and ``who`` tell of its last writing, ``week`` and ``row_key`` its row.

    It is shown on jobs while ``active``; ``revision`` counts its writings.
    """

    id: int
    text: NoteText
    week: str | None
    row_key: str | None
    active: bool
    revision: int
    at: datetime
    who: str


class ShopNotes:
    """The notes of one unit of work.

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

    # --- reading -----------------------------------------------------------------------------

    def all(self) -> tuple[Note, ...]:
        """Return every note, oldest first, those taken down among them."""
        return self._read(ShopNoteRow.id > 0)

    def patterns(self) -> tuple[tuple[int, Pattern], ...]:
        """Return number and pattern of the notes that are not taken down, newest first."""
        rows = _PATTERNS.rows(self._pen.connection)
        return tuple(
            (note_id, Pattern(**dict(zip(FIELDS, values, strict=True))))
            for note_id, *values in rows
        )

    def some(self, ids: Sequence[int]) -> tuple[Note, ...]:
        """Return the notes of those numbers, in the order of the numbers given."""
        found = {note.id: note for note in self._read(ShopNoteRow.id.in_(ids))} if ids else {}
        return tuple(found[note_id] for note_id in ids if note_id in found)

    def get(self, note_id: int) -> Note:
        """Return one note.

        Raises
        ------
        NotFoundError
            If there is none of that number.
        """
        found = self._read(ShopNoteRow.id == note_id) if note_id <= LARGEST_ID else ()
        if not found:
            raise NotFoundError(
                f"expected the number of a note, got {note_id}; look at the list of notes"
            )
        return found[0]

    def _read(self, chosen: ColumnElement[bool]) -> tuple[Note, ...]:
        query = select(*own_columns(ShopNoteRow)).where(chosen).order_by(ShopNoteRow.id)
        return tuple(_note(dict(row)) for row in self._pen.connection.execute(query).mappings())

    # --- writing -----------------------------------------------------------------------------

    def add(self, text: NoteText, *, week: str | None = None, row_key: str | None = None) -> int:
        """Keep a new note and return its number."""
        who, at = self._pen.require()
        row = {
            **_columns(text),
            "week": week,
            "row_key": row_key,
            "active": True,
            "revision": 1,
            "at": at,
            "who": who,
        }
        query = insert(ShopNoteRow).values(row).returning(ShopNoteRow.id)
        note_id = self._pen.connection.scalars(query).one()
        self._history.add("note written", None, f"number {note_id}: {text.title}")
        return note_id

    def change(self, note: Note, text: NoteText) -> None:
        """Write a note anew."""
        who, at = self._pen.require()
        new = {**_columns(text), "at": at, "who": who}
        self._write(note, new)
        self._history.add("note changed", None, f"number {note.id}: {text.title}")

    def set_active(self, note: Note, *, active: bool) -> None:
        """Take a note down, or put it up again."""
        verb = "note put up again" if active else "note taken down"
        self._write(note, {"active": active})
        self._history.add(verb, None, f"number {note.id}: {note.text.title}")

    def _write(self, note: Note, values: dict[str, Any]) -> None:
        self._pen.require()
        changed = update(ShopNoteRow).where(ShopNoteRow.id == note.id)
        self._pen.connection.execute(changed.values(**values, revision=note.revision + 1))


def _columns(text: NoteText) -> dict[str, Any]:
    words = {"title": text.title, "body": text.body, "body_html": text.body_html}
    return words | asdict(text.pattern)


def _note(row: dict[str, Any]) -> Note:
    pattern = Pattern(**{name: row.pop(name) for name in FIELDS})
    words = {name: row.pop(name) for name in ("title", "body", "body_html")}
    return Note(text=NoteText(**words, pattern=pattern), **row)
