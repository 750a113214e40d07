"""The week: what repeats, what rises, what came back, and what was decided."""

from collections.abc import Mapping, Sequence
from itertools import chain
from pathlib import Path
from typing import Any

from flask import Blueprint, current_app, make_response, redirect, render_template, request, url_for
from markupsafe import Markup
from werkzeug.wrappers import Response

from kb.case.iso_week import IsoWeek
from kb.diagnosis.reliability import Band
from kb.errors import ParseError
from kb.workflow.review import Review, first_week, review_week
from kb.workflow.trust import kept_trust
from web import db
from web.auth import needs, now, person
from web.decisions import week_slots
from web.kept_parts import kept_part
from web.measure_words import foreman_lines
from web.rights import Right
from web.trust_picture import trust_picture
from web.week_counting import counted
from web.week_page import WeekAsked, matters_shown, paper_rows, topics

bp = Blueprint("week", __name__)


@bp.get("/week")
@needs(Right.SEE)
def show() -> Response | tuple[Response, int]:
    """Show the review of a week, the newest whole one unless another is asked for."""
    typed = request.args.get("week", "").strip()
    try:
        return _page(IsoWeek.parse(typed) if typed else IsoWeek.last_whole(db.today()))
    except ParseError as error:
        return _page(IsoWeek.last_whole(db.today()), error=str(error)), 400


@bp.post("/week/again")
@needs(Right.DECIDE)
def again() -> Response:
    """Count a week again."""
    with db.writing():
        week = IsoWeek.parse(request.form.get("week", ""))
    if not _asked(week).silence:
        review_week(db.memory(), week, who=person().name, now=now(), anew=True)
    return redirect(url_for("week.show", week=week))


def _asked(week: IsoWeek) -> WeekAsked:
    return WeekAsked(week=week, today=db.today(), first=first_week(db.store(), asked=week))


def _page(week: IsoWeek, *, error: str = "") -> Response:
    asked, review = _asked(week), None
    if not asked.silence:
        review = counted(week)
    slots = week_slots(review)
    page = render_template(
        "week.html",
        week=week,
        asked=asked,
        review=review,
        error=error,
        counted=f"{review.made_at.astimezone():%Y-%m-%d %H:%M}" if review else "",
        rows=_rows(review, slots) if review else "",
        **slots,
    )
    response = make_response(page)
    if review is None and not asked.silence:
        # Without a script the page comes again by itself; there is nothing on it to lose.
        response.headers["Refresh"] = "1"
    return response


def _rows(review: Review, slots: Mapping[str, Any]) -> Markup:
    """Return all rows of a counted week with what can be done about each."""
    words, trust = db.words(), kept_trust(Path(current_app.config["HOME"]))
    lines = tuple(foreman_lines(trust.result)) if trust and trust.bands else ()
    bands = trust.bands if trust else ()

    def values() -> dict[str, Any]:
        found = topics(review, words)
        return {
            "week": review.week,
            "first": matters_shown(review, words),
            "topics": found,
            "paper_rows": paper_rows(found),
            "trust": _trust(lines, bands),
            **slots,
        }

    follows_from = (
        (review.mark, words.shop.mark, lines, bands),
        (tuple(chain(*slots["decided_on"].values())), slots["to_hold"]),
        person().may(Right.DECIDE),
    )
    return kept_part("_week_rows.html", follows_from, values)


def _trust(lines: Sequence[str], bands: Sequence[Band]) -> dict[str, Any] | None:
    """Return how far to trust the chances, None before anything was measured."""
    if not bands:
        return None
    return {"lines": lines, "picture": trust_picture("How far to trust the chances", bands)}
