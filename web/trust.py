"""How far to trust the chances: what was said held against what came true."""

from pathlib import Path

from flask import Blueprint, current_app, render_template

from kb.workflow.trust import kept_trust, trust_state
from web import db
from web.auth import needs
from web.measure_words import foreman_lines
from web.rights import Right
from web.trust_picture import trust_picture

bp = Blueprint("trust", __name__)


@bp.get("/trust")
@needs(Right.SEE)
def show() -> str:
    """Show how often what was said came true in this shop."""
    kept = kept_trust(Path(current_app.config["HOME"]))
    if kept is None:
        return render_template("trust.html", kept=None, lines=(), pictures=(), is_old=False)
    pictures = [
        trust_picture(name, bands)
        for name, bands in (
            ("All jobs asked", kept.bands),
            ("Jobs whose cause had been here before", kept.known),
        )
        if bands
    ]
    return render_template(
        "trust.html",
        kept=kept,
        lines=foreman_lines(kept.result),
        pictures=pictures,
        is_old=kept.state != trust_state(db.memory()),
    )
