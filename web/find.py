"""Find: the box, with what was understood and why each case is there; and lists of closed cases."""

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from flask import Blueprint, render_template, request
from markupsafe import Markup

from kb.case.parse import Parsed
from kb.errors import EmptyIndexError, ParseError, StoreError
from kb.store.case_lists import CaseFilter
from kb.store.notes import Note
from kb.workflow.jobs import draft_job, read_vehicle
from kb.workflow.suggest import Suggestion
from web import db
from web.auth import needs, person
from web.find_filters import FILTERS, SHOPS, read_filter
from web.kept_parts import kept_part
from web.notes import notes_of
from web.rights import Right

bp = Blueprint("find", __name__)
# A question is a few lines (our choice); longer text belongs into a job.
_MAX_QUESTION = 4000
_TOP = 8
# A search kept for the week must not be felt while somebody else writes (our choice).
_PATIENCE_MS = 50


@bp.get("/find")
@needs(Right.SEE)
def show() -> tuple[str, int]:
    """Show the answers to the typed question; with an empty box, the cases under the filters."""
    text = request.args.get("q", "")
    # All parts of the page ask inside one reading; nothing is written before it has ended.
    with db.store().read() as unit:
        page = _shown(text)
        # Looking costs a tenth of a write, and nobody who writes has to wait for it.
        is_new = page.lost and not unit.searches.holds(
            page.lost, who=person().name, at=datetime.now(UTC)
        )
    if is_new:
        _keep_lost(page.lost)
    return page.text, page.status


@dataclass(frozen=True, slots=True, kw_only=True)
class _Page:
    """A page, its status, and the search that found nothing, if it was one."""

    text: str
    status: int = 200
    lost: str = ""


def _shown(text: str) -> _Page:
    # A plain table: a choice that the address leaves out is looked up many times.
    wanted, errors = read_filter(request.args.to_dict(), db.words())
    if errors:
        return _Page(text=_page(errors=errors), status=400)
    if text.strip():
        return _answered(text, wanted)
    return _listed(wanted) if wanted.active else _Page(text=_page())


def _answered(text: str, wanted: CaseFilter) -> _Page:
    try:
        parsed, found, notes = _asked(text, request.args.get("vehicle", ""), wanted)
    except (ParseError, EmptyIndexError) as error:
        status = 400 if isinstance(error, ParseError) else 200
        return _Page(text=_page(error=str(error)), status=status)
    return _Page(
        text=_page(parsed=parsed, answers=found, notes=notes, filtered=wanted.active),
        lost=text if _is_lost(found) else "",
    )


def _is_lost(found: Suggestion) -> bool:
    """Say whether a search found nothing; a part that did not answer might have known a case."""
    return not found.missing and (found.nothing_like_it or not found.matches)


def _page(*, errors: Mapping[str, str] | None = None, **known: object) -> str:
    typed = request.args.to_dict()
    narrowed = any(typed.get(name) for name in FILTERS)
    return render_template(
        "find.html",
        text=typed.get("q", ""),
        vehicle=typed.get("vehicle", ""),
        filters=_filters(typed, errors or {}, narrowed=narrowed),
        narrowed=narrowed,
        typed=typed,
        **known,
    )


def _filters(typed: Mapping[str, str], errors: Mapping[str, str], *, narrowed: bool) -> Markup:
    words = db.words()

    def values() -> dict[str, Any]:
        return {
            "typed": typed, "errors": errors, "narrowed": narrowed, "words": words, "shops": SHOPS
        }  # fmt: skip

    chosen = tuple(typed.get(name, "") for name in FILTERS)
    return kept_part("_find_filters.html", (words.shop.mark, chosen, tuple(errors.items())), values)


def _asked(
    text: str, vehicle: str, wanted: CaseFilter
) -> tuple[Parsed, Suggestion, tuple[Note, ...]]:
    if len(text) > _MAX_QUESTION:
        raise ParseError(
            f"expected at most {_MAX_QUESTION} characters, got {len(text)}; "
            "open a job and add it in parts"
        )
    car = read_vehicle(vehicle) if vehicle.strip() else None
    entry = draft_job(text, words=db.words(), vehicle=car, today=db.today())
    among = None
    if wanted.active:
        with db.store().read() as unit:
            among = unit.case_lists.ids(wanted)
    found = db.memory().suggest(entry.job, top=_TOP, among=among)
    return entry.parsed, found, notes_of(entry.job, found)


def _listed(wanted: CaseFilter) -> _Page:
    typed = request.args.get("page", "")
    number = int(typed) if typed.isascii() and typed.isdigit() and len(typed) < 7 else 1
    with db.store().read() as unit:
        cases = unit.case_lists.page(wanted, number)
    kept = {name: value for name, value in request.args.items() if value and name != "page"}
    asked = " ".join(f"{name} {value}" for name, value in kept.items())
    return _Page(text=_page(cases=cases, kept=kept), lost="" if cases.total else asked)


def _keep_lost(text: str) -> None:
    """Keep a search that found nothing for the week, unless the shop is busy writing just now."""
    # A link on another site's page must not write here in the name of who follows it.
    if request.method != "GET" or request.headers.get("Sec-Fetch-Site") == "cross-site":
        return
    with (
        suppress(StoreError),
        db.store().write(person().name, datetime.now(UTC), patience_ms=_PATIENCE_MS) as unit,
    ):
        unit.searches.add(text, request.args.get("vehicle", ""))
