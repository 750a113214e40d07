"""The shop's words: what it added, what words mean, what nobody understood yet."""

from collections.abc import Callable, Iterable, Mapping
from typing import Any

from flask import Blueprint, abort, redirect, render_template, request, url_for
from markupsafe import Markup
from werkzeug.wrappers import Response

from kb.case.shop_rows import MERGED_KINDS
from kb.case.term_rows import Named
from kb.case.terms import Vocabulary
from kb.case.units import UNITS
from kb.errors import TermError
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.word_merges import (
    case_counts,
    known_says,
    meaning_of,
    merge,
    take_out,
    unmerge,
)
from kb.workflow.words import (
    NewCheck,
    NewQuantity,
    add_cause,
    add_check,
    add_family,
    add_quantity,
    add_synonym,
    names_of,
    set_aside,
)
from web import db
from web.auth import needs, person
from web.kept_parts import Place, kept_part
from web.rights import Right
from web.word_pages import PARTS, WordPage, name_of, word_page

bp = Blueprint("words", __name__)

Page = str | Response | tuple[str, int]
Form = Mapping[str, str]


@bp.app_template_global()
def systems_of(words: Vocabulary) -> list[tuple[str, str]]:
    """Return keys and names of the systems."""
    return named_of(words.systems)


@bp.app_template_global()
def named_of(rows: Mapping[str, Named]) -> list[tuple[str, str]]:
    """Return keys and names for a choice."""
    return [(row.key, row.name) for row in rows.values()]


@bp.app_template_global()
def pairs_of(values: Iterable[str]) -> list[tuple[str, str]]:
    """Return values that are their own names for a choice."""
    return [(value, value) for value in values]


def _part_of(kind: str) -> str:
    return next(part for part, (_, known) in PARTS.items() if known == kind)


def _page(part: str, typed: Form, errors: Mapping[str, str], *, sure: str = "") -> str:
    words, wanted = db.words(), request.args.get("q", "")[:60]
    with db.store().read() as unit:
        page = word_page(unit, words, part, wanted=wanted)
    return render_template(
        "words.html",
        page=page,
        parts=PARTS,
        wanted=wanted,
        typed=typed,
        errors=errors,
        sure=sure,
        words=words,
        units=list(UNITS),
        known=_known(words) if part in {"unread", "meanings"} else "",
    )


@bp.app_template_global()
def kept_unread(page: WordPage, wanted: str) -> Markup:
    """Return the words that nobody understood where no form was refused."""
    may_teach = person().may(Right.TEACH)

    def values() -> Mapping[str, Any]:
        return {"page": page, "wanted": wanted, "may_teach": may_teach, "typed": {}, "errors": {}}

    shown = (page.unread, tuple(page.suggested.items()), page.hidden, wanted)
    place = Place(name=("unread words", may_teach), follows=None)
    return kept_part("_words_unread.html", shown, values, place=place)


def _known(words: Vocabulary) -> Markup:
    """Return what a typed meaning is chosen from."""

    def values() -> Mapping[str, Any]:
        return {"known": sorted(set(known_says(words).values()))}

    return kept_part("_words_known.html", words.shop.mark, values)


@bp.get("/words")
@needs(Right.SEE)
def show() -> str:
    """Show one part of the words."""
    part = request.args.get("show", "unread")
    return _page(part if part in PARTS else "unread", {}, {})


# --- adding -------------------------------------------------------------------------------------


def _cause(unit: UnitOfWork, form: Form, *, sure: bool) -> None:
    add_cause(
        unit,
        form.get("name", ""),
        system=form.get("system", ""),
        part=form.get("part", ""),
        sure=sure,
    )


def _pair(form: Form, name: str) -> tuple[str, str]:
    return form.get(f"{name}_low", ""), form.get(f"{name}_high", "")


def _check(unit: UnitOfWork, form: Form, *, sure: bool) -> None:
    new = NewCheck(
        name=form.get("name", ""),
        systems=[form.get("systems", "")],
        outcomes=form.get("outcomes", ""),
        minutes=_pair(form, "minutes"),
        kind=form.get("kind", ""),
        access=form.get("access", ""),
        subject=form.get("subject", ""),
    )
    add_check(unit, new, sure=sure)


def _quantity(unit: UnitOfWork, form: Form, *, sure: bool) -> None:
    new = NewQuantity(
        name=form.get("name", ""),
        system=form.get("system", ""),
        unit=form.get("unit", ""),
        hard=_pair(form, "hard"),
        typical=_pair(form, "typical"),
        typical_when=form.get("typical_when", ""),
        short=form.get("short", ""),
    )
    add_quantity(unit, new, sure=sure)


def _family(unit: UnitOfWork, form: Form, *, sure: bool) -> None:
    add_family(unit, form.get("name", ""), form.get("members", ""), sure=sure)


_ADDERS: Mapping[str, Callable[..., None]] = {
    "cause": _cause,
    "check": _check,
    "quantity": _quantity,
    "family": _family,
}


@bp.post("/words/add/<kind>")
@needs(Right.TEACH)
def add(kind: str) -> Page:
    """Add a term; one like it is shown first, and taken when it is sent again."""
    if kind not in _ADDERS:
        abort(404)
    form = request.form
    name = form.get("name", "").strip()
    try:
        with db.writing() as unit:
            _ADDERS[kind](unit, form, sure=bool(name) and form.get("sure") == name)
    except TermError as error:
        # Only the very name that was warned of is taken when it is sent again.
        sure = name if error.like else ""
        return _page(_part_of(kind), form, error.by_field, sure=sure), 400
    return redirect(url_for("words.show", show=_part_of(kind)))


@bp.post("/words/means")
@needs(Right.TEACH)
def means() -> Page:
    """Say what a word means, by one tap or by typing it; or set it aside."""
    form, word = request.form, request.form.get("word", "")
    part = "meanings" if form.get("from") == "meanings" else "unread"
    picked, _, what = form.get("pick", "").partition("|")
    try:
        with db.writing() as unit:
            if picked == "aside":
                set_aside(unit, word)
            else:
                kind, key = (
                    (picked, what) if picked else meaning_of(form.get("what", ""), db.words())
                )
                add_synonym(unit, word, means=kind, what=key)
    except TermError as error:
        return _page(part, form, error.by_field), 400
    return redirect(url_for("words.show", show=part))


# --- joining and taking out ---------------------------------------------------------------------


def _merge_page(typed: Form, error: str = "") -> str:
    words, kind = db.words(), typed.get("kind", "cause")
    kind = kind if kind in MERGED_KINDS else "cause"
    known = names_of(words, kind)
    pair = [typed.get("key", ""), typed.get("into", "")]
    with db.store().read() as unit:
        counts = case_counts(unit.terms.counts(kind), kind, words)
    ready = all(key in known for key in pair) and pair[0] != pair[1]
    names = [name_of(words, kind, key) for key in pair]
    if pair[0] and pair[0] == pair[1]:
        error = error or f"expected two different ones, got {names[0]} twice"
    return render_template(
        "merge.html",
        kind=kind,
        part=_part_of(kind),
        known=known,
        pair=pair,
        names=names,
        counts=[counts.get(key, 0) for key in pair],
        ready=ready and not error,
        error=error,
    )


@bp.get("/words/merge")
@needs(Right.WORDS)
def merge_form() -> str:
    """Ask which two are to be joined, and show what that joins."""
    return _merge_page(request.args)


@bp.post("/words/merge")
@needs(Right.WORDS)
def join() -> Page:
    """Let one term stand for another."""
    form, kind = request.form, request.form.get("kind", "")
    try:
        with db.writing() as unit:
            merge(unit, kind, form.get("key", ""), into=form.get("into", ""))
    except TermError as error:
        return _merge_page(form, str(error)), 400
    return redirect(url_for("words.show", show=_part_of(kind)))


@bp.post("/words/part")
@needs(Right.WORDS)
def part() -> Page:
    """Let a merged term stand for itself again."""
    kind = request.form.get("kind", "")
    return _changed(kind, lambda unit: unmerge(unit, kind, request.form.get("key", "")))


@bp.post("/words/out")
@needs(Right.WORDS)
def out() -> Page:
    """Take a term out of use, or put it back."""
    form, kind = request.form, request.form.get("kind", "")
    back = form.get("back") == "yes"
    return _changed(kind, lambda unit: take_out(unit, kind, form.get("key", ""), back=back))


def _changed(kind: str, write: Callable[[UnitOfWork], None]) -> Page:
    if kind not in {known for _, known in PARTS.values()}:
        abort(404)
    try:
        with db.writing() as unit:
            write(unit)
    except TermError as error:
        return _page(_part_of(kind), {}, {"": str(error)}), 400
    return redirect(url_for("words.show", show=_part_of(kind)))
