"""Find: the box, with what was understood and why each case is there."""

from flask import Blueprint, render_template, request

from kb.errors import EmptyIndexError, ParseError
from kb.workflow.jobs import draft_job, read_vehicle
from web import db
from web.auth import needs
from web.rights import Right

bp = Blueprint("find", __name__)
# A question is a few lines (our choice); longer text belongs into a job.
_MAX_QUESTION = 4000


@bp.get("/find")
@needs(Right.SEE)
def show() -> tuple[str, int]:
    """Show the answers to the typed question."""
    text, vehicle = request.args.get("q", ""), request.args.get("vehicle", "")
    if not text.strip():
        return render_template("find.html", text=text, vehicle=vehicle), 200
    try:
        if len(text) > _MAX_QUESTION:
            raise ParseError(  # noqa: TRY301 (the message belongs at the field)
                f"expected at most {_MAX_QUESTION} characters, got {len(text)}; "
                "open a job and add it in parts"
            )
        car = read_vehicle(vehicle) if vehicle.strip() else None
        entry = draft_job(text, words=db.words(), vehicle=car, today=db.today())
        found = db.memory().suggest(entry.job, top=8)
    except (ParseError, EmptyIndexError) as error:
        page = render_template("find.html", text=text, vehicle=vehicle, error=str(error))
        return page, 400 if isinstance(error, ParseError) else 200
    page = render_template(
        "find.html", text=text, vehicle=vehicle, parsed=entry.parsed, answers=found
    )
    return page, 200
