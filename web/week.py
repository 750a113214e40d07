"""The week: what repeats, what rises, what came back, and what was decided."""

from flask import Blueprint, render_template, request

from kb.case.iso_week import IsoWeek
from kb.errors import ParseError
from kb.workflow.review import review_week
from web import db
from web.auth import needs, now, person
from web.rights import Right
from web.week_page import shown, topics

bp = Blueprint("week", __name__)


@bp.get("/week")
@needs(Right.SEE)
def show() -> str | tuple[str, int]:
    """Show the review of a week, the newest whole one unless another is asked for."""
    last, error = IsoWeek.last_whole(db.today()), ""
    try:
        week = IsoWeek.parse(request.args["week"]) if request.args.get("week") else last
    except ParseError as wrong:
        week, error = last, str(wrong)
    review = review_week(db.memory(), week, who=person().name, now=now())
    words = db.words()
    page = render_template(
        "week.html",
        week=week,
        review=review,
        error=error,
        first=shown(review.first, words) if review else (),
        topics=topics(review, words) if review else (),
    )
    return (page, 400) if error else page
