"""Shop notes: the list, one note to read and change, and the notes that fit a job."""

from collections.abc import Mapping
from contextlib import suppress
from textwrap import shorten

from flask import Blueprint, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from kb.case.model import Job
from kb.case.terms import Vocabulary
from kb.errors import ConflictError, FieldsError, NotFoundError, ParseError
from kb.store.notes import Note, Pattern
from kb.workflow.notes import LONGEST_TITLE, change_note, from_row, set_active, write_note
from kb.workflow.notes_shown import notes_for
from kb.workflow.suggest import Suggestion
from web import db
from web.auth import needs
from web.db import AlreadySentError
from web.decisions import row_named
from web.note_words import pattern_fields, term_choices, where_shown
from web.rights import Right
from web.week_words.rows import say

bp = Blueprint("notes", __name__)

Page = str | Response | tuple[str, int]
Form = Mapping[str, str]


def notes_of(job: Job, answers: Suggestion | None) -> tuple[Note, ...]:
    """Return the notes of the shop that fit an open job or a question."""
    with db.store().read() as unit:
        return notes_for(unit, job, answers, words=db.words())


@bp.get("/notes")
@needs(Right.SEE)
def show_all() -> str:
    """List all notes, with where each one shows."""
    words = db.words()
    with db.store().read() as unit:
        notes = [(note, where_shown(note.text.pattern, words)) for note in unit.notes.all()]
    notes.reverse()
    return render_template(
        "notes.html",
        up=[row for row in notes if row[0].active],
        down=[row for row in notes if not row[0].active],
    )


# --- a new note ----------------------------------------------------------------------------------


def _new_page(typed: Form, errors: Form) -> str:
    row = {name: typed.get(name, "") for name in ("week", "row")}
    return _page(None, typed, errors, week=row["week"], row_key=row["row"])


@bp.get("/note/new")
@needs(Right.DECIDE)
def new() -> str:
    """Ask for a note, from a row of the week or from nothing."""
    if not request.args.get("row"):
        return _new_page({}, {})
    week, row = row_named(request.args)
    words = db.words()
    with db.store().read() as unit:
        pattern = from_row(unit, row, words)
    title = shorten(say(row, words).what.removesuffix("."), LONGEST_TITLE, placeholder="…")
    typed = {"title": title, "week": str(week), "row": row.key}
    return _new_page({**typed, **pattern_fields(pattern)}, {})


@bp.post("/notes")
@needs(Right.DECIDE)
def add() -> Page:
    """Keep a new note."""
    form, row = request.form, None
    # A row that was counted anew and is gone takes no note with it.
    with suppress(NotFoundError, ParseError):
        week, found = row_named(form)
        row = (str(week), found.key)
    try:
        with db.writing() as unit:
            write_note(unit, form, words=db.words(), row=row)
    except FieldsError as error:
        return _new_page(form, error.by_field), 400
    except AlreadySentError:
        pass
    return redirect(url_for("notes.show_all"))


# --- a note --------------------------------------------------------------------------------------


def _kept_fields(note: Note, words: Vocabulary) -> dict[str, str]:
    kept = pattern_fields(note.text.pattern)
    if kept["cause"]:
        kept["cause"] = words.shop.now("cause", kept["cause"])
    return {"title": note.text.title, "body": note.text.body, **kept}


def _page(note: Note | None, typed: Form, errors: Form, **known: str) -> str:
    words = db.words()
    return render_template(
        "note.html",
        note=note,
        where=where_shown(note.text.pattern if note else Pattern(), words),
        typed={**(_kept_fields(note, words) if note else {}), **typed},
        errors=errors,
        words=words,
        **term_choices(words),
        **known,
    )


def _note(note_id: int) -> Note:
    with db.store().read() as unit:
        return unit.notes.get(note_id)


@bp.get("/note/<int:note_id>")
@needs(Right.SEE)
def show(note_id: int) -> str:
    """Show one note, to read and change it."""
    return _page(_note(note_id), {}, {})


@bp.post("/note/<int:note_id>")
@needs(Right.DECIDE)
def change(note_id: int) -> Page:
    """Write a note anew."""
    form, typed = request.form, request.form.get("revision", "")
    seen = int(typed) if typed.isascii() and typed.isdigit() and len(typed) < 10 else 0
    try:
        with db.writing() as unit:
            change_note(unit, note_id, form, words=db.words(), seen=seen)
    except FieldsError as error:
        return _page(_note(note_id), form, error.by_field), 400
    except ConflictError as error:
        return _page(_note(note_id), form, {"": str(error)}), 409
    except AlreadySentError:
        pass
    return redirect(url_for("notes.show", note_id=note_id))


@bp.post("/note/<int:note_id>/active")
@needs(Right.DECIDE)
def active(note_id: int) -> Response:
    """Take a note down, or put it up again."""
    try:
        with db.writing() as unit:
            set_active(unit, note_id, active=request.form.get("active") == "yes")
    except AlreadySentError:
        pass
    return redirect(url_for("notes.show", note_id=note_id))
