"""Decide about a row of the week; change a decision, settle it; mark what held."""

from collections.abc import Mapping
from typing import Any

from flask import Blueprint, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from kb.case.iso_week import IsoWeek
from kb.errors import ConflictError, FieldsError, NotFoundError
from kb.store.decisions import About, Decision
from kb.workflow.decisions import (
    TypedPlan,
    change_decision,
    decide,
    decided_before,
    mark_of,
    seen_about,
    settle,
    take_up_again,
)
from kb.workflow.hold import MOST_AT_ONCE, mark_held
from kb.workflow.review import Review, kept_review
from kb.workflow.week.rows import WeekRow
from web import db, resend
from web.auth import needs, now
from web.db import AlreadySentError
from web.decision_words import about_words, decision_said, kept_sentence
from web.rights import Right
from web.week_words.rows import say

bp = Blueprint("decisions", __name__)

Page = str | Response | tuple[str, int]
Form = Mapping[str, str]
# The kind of the row that lists repairs past their holding period.
_HELD = "held"


def week_slots(review: Review | None) -> dict[str, Any]:
    """Return what the page of a week shows of decisions.

    Returns
    -------
    dict
        ``decided``: decisions, each with its words; ``decided_on``: the open ones by key of the
        row; ``to_hold``: how many cases of the row "held" are not marked yet, ``most_to_hold`` how
        many one press marks.
    """
    words = db.words()
    with db.store().read() as unit:
        rows = decided_before(unit, review, now=now(), today=db.today())
        to_hold = unit.held.left(_held_cases(review))
    on: dict[str, list[Decision]] = {}
    for row in rows:
        if row.decision.is_open:
            on.setdefault(row.decision.about.row_key, []).append(row.decision)
    return {
        "decided": [(row, decision_said(row, words)) for row in rows],
        "decided_on": on,
        "to_hold": to_hold,
        "most_to_hold": MOST_AT_ONCE,
    }


def _held_cases(review: Review | None) -> tuple[str, ...]:
    rows = review.rows if review else ()
    return tuple(case for row in rows if row.kind == _HELD for case in row.cases)


def row_named(typed: Form) -> tuple[IsoWeek, WeekRow]:
    """Return the row of a week that a form or an address names.

    Raises
    ------
    ParseError
        If the week is none.
    NotFoundError
        If that week has no such row, or is not counted.
    """
    week = IsoWeek.parse(typed.get("week", ""))
    review = kept_review(db.store(), week)
    row = review.row(typed.get("row", "")) if review else None
    if row is None:
        raise NotFoundError(
            f"expected a row of week {week}, got '{typed.get('row', '')[:60]}', which is not in "
            "its list; open the week and choose a row there"
        )
    return week, row


def _typed(form: Form) -> TypedPlan:
    return TypedPlan(
        what=form.get("what", ""), owner=form.get("owner", ""), due=form.get("due", "")
    )


# --- a new decision ------------------------------------------------------------------------------


def _new_page(at: tuple[IsoWeek, WeekRow], typed: Form, errors: Form) -> str:
    week, row = at
    with db.store().read() as unit:
        known = unit.decisions.open_about(row.key)
        seen = seen_about(unit, row.key)
        people = [person.name for person in unit.people.all() if person.active]
    return render_template(
        "decide.html",
        week=week,
        row=row,
        said=say(row, db.words()),
        known=known,
        seen=seen,
        people=people,
        typed=typed,
        errors=errors,
        today=db.today(),
    )


@bp.get("/week/decide")
@needs(Right.DECIDE)
def form() -> str:
    """Ask what is to be done about a row, by whom, until when."""
    return _new_page(row_named(request.args), {}, {})


@bp.post("/week/decide")
@needs(Right.DECIDE)
def add() -> Page:
    """Keep a decision about a row."""
    try:
        week, row = row_named(request.form)
    except NotFoundError as error:
        # Counted anew meanwhile; what was typed can still be read.
        title, unsent = "That row is not in its week any more", resend.of_request()
        page = render_template("error.html", title=title, message=str(error), unsent=unsent)
        return page, 404
    about = About(week=str(week), row_key=row.key, said=kept_sentence(say(row, db.words())))
    typed, seen = _typed(request.form), request.form.get("seen", "")
    try:
        with db.writing() as unit:
            decide(unit, about, typed, seen=seen, today=db.today())
    except FieldsError as error:
        return _new_page((week, row), request.form, error.by_field), 400
    except ConflictError as error:
        return _new_page((week, row), request.form, {"": str(error)}), 409
    except AlreadySentError:
        pass
    return redirect(url_for("week.show", week=str(week), _anchor="decided"))


# --- a decision ----------------------------------------------------------------------------------


def _page(decision_id: int, typed: Form, errors: Form) -> str:
    with db.store().read() as unit:
        decision = unit.decisions.get(decision_id)
        people = [person.name for person in unit.people.all() if person.active]
    plan = decision.plan
    as_kept = {"what": plan.what, "owner": plan.owner, "due": plan.due.isoformat()}
    return render_template(
        "decision.html",
        decision=decision,
        about=about_words(decision),
        mark=mark_of(decision),
        people=people,
        typed={**as_kept, **typed},
        errors=errors,
        today=db.today(),
    )


@bp.get("/week/decision/<int:decision_id>")
@needs(Right.SEE)
def show(decision_id: int) -> str:
    """Show one decision, to change or settle it."""
    return _page(decision_id, {}, {})


@bp.post("/week/decision/<int:decision_id>")
@needs(Right.DECIDE)
def change(decision_id: int) -> Page:
    """Change what is to be done, by whom, until when."""
    typed, seen = _typed(request.form), request.form.get("seen", "")
    try:
        with db.writing() as unit:
            change_decision(unit, decision_id, typed, seen=seen, today=db.today())
    except (FieldsError, ConflictError) as error:
        return _again(decision_id, error)
    except AlreadySentError:
        pass
    return _back_to_week()


@bp.post("/week/decision/<int:decision_id>/settle")
@needs(Right.DECIDE)
def finish(decision_id: int) -> Page:
    """Note that it is done or dropped, and what came of it."""
    given = {name: request.form.get(name, "") for name in ("state", "outcome", "seen")}
    try:
        with db.writing() as unit:
            settle(unit, decision_id, **given)
    except (FieldsError, ConflictError) as error:
        return _again(decision_id, error)
    except AlreadySentError:
        pass
    return _back_to_week()


@bp.post("/week/decision/<int:decision_id>/again")
@needs(Right.DECIDE)
def take_up(decision_id: int) -> Page:
    """Take a settled decision up again."""
    try:
        with db.writing() as unit:
            take_up_again(unit, decision_id, seen=request.form.get("seen", ""))
    except ConflictError as error:
        return _again(decision_id, error)
    except AlreadySentError:
        pass
    return redirect(url_for("decisions.show", decision_id=decision_id))


def _again(decision_id: int, error: FieldsError | ConflictError) -> tuple[str, int]:
    """Show the page once more with all that was typed, and why it was not taken."""
    if isinstance(error, FieldsError):
        return _page(decision_id, request.form, error.by_field), 400
    return _page(decision_id, request.form, {"": str(error)}), 409


def _back_to_week() -> Response:
    return redirect(url_for("week.show", _anchor="decided"))


# --- what held -----------------------------------------------------------------------------------


@bp.post("/week/held")
@needs(Right.DECIDE)
def hold() -> Response:
    """Mark the cases of a week's row "held" that still qualify."""
    week = IsoWeek.parse(request.form.get("week", ""))
    cases = _held_cases(kept_review(db.store(), week))
    try:
        with db.writing() as unit:
            mark_held(unit, cases, today=db.today())
    except AlreadySentError:
        pass
    return redirect(url_for("week.show", week=str(week)))
