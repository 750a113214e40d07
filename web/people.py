"""People: names, roles, links to hand over, sessions to end."""

import segno
from flask import Blueprint, make_response, redirect, render_template, request, url_for
from werkzeug.wrappers import Response

from kb.errors import ConflictError, ParseError
from kb.store.people import StoredPerson
from kb.workflow.people import (
    add_person,
    bring_back,
    change_role,
    end_sessions,
    link_for,
    take_out,
)
from web import db
from web.auth import needs, now
from web.hosts import is_own
from web.rights import Right, Role

bp = Blueprint("people", __name__)

Page = str | Response | tuple[str, int]

# What each role may do, in the words of the page.
ROLE_WORDS = {
    Role.VIEWER: "reads and searches",
    Role.TECHNICIAN: "works on jobs, closes them, adds words",
    Role.ADVISOR: "works on jobs and closes them",
    Role.FOREMAN: "as a technician; also merges and takes out words",
    Role.OWNER: "everything, people too",
}


def people_page(typed: dict[str, str] | None = None, **handed: object) -> str:
    """Return the page of people; ``typed`` is what a refused form said, ``handed`` what is shown once."""
    with db.store().read() as unit:
        people = unit.people.all()
        sessions = {row.id: unit.sessions.of(row.id) for row in people}
        tablets = unit.sessions.shared()
    return render_template(
        "people.html",
        people=people,
        names={row.id: row.name for row in people},
        sessions=sessions,
        tablets=tablets,
        roles=ROLE_WORDS,
        typed=typed or {},
        **handed,
    )


def _with_link(person: StoredPerson, token: str) -> Response:
    """Show a link that was just made; it is shown once and kept nowhere."""
    link = url_for("sign_in.look_at_link", token=token, _external=True)
    answer = make_response(
        people_page(link=link, link_name=person.name, picture=_for_a_phone(link))
    )
    answer.headers["Cache-Control"] = "no-store"
    return answer


def _for_a_phone(link: str) -> str | None:
    """Return a link as a picture for another device; None where no other device would get here."""
    if is_own(request.host, None):
        return None
    # Dark on light in both themes: that is what cameras read.
    return segno.make(link, error="m").svg_data_uri(scale=5, border=4, light="#fff")


def _role() -> Role:
    typed = request.form.get("role", "")
    try:
        return Role(typed)
    except ValueError as error:
        known = ", ".join(Role)
        raise ParseError(f"expected one of {known}, got '{typed[:20]}'; choose a role") from error


@bp.get("/people")
@needs(Right.PEOPLE)
def show() -> str:
    """Show who is in the shop."""
    return people_page()


@bp.post("/people")
@needs(Right.PEOPLE)
def add() -> Page:
    """Add a person and show the link to hand over."""
    try:
        role = _role()
        with db.writing() as unit:
            person = add_person(unit, request.form.get("name", ""), role)
            token = link_for(unit, person.id, now())
    except (ParseError, ConflictError) as error:
        status = 400 if isinstance(error, ParseError) else 409
        return people_page({**request.form, "error": str(error)}), status
    return _with_link(person, token)


@bp.post("/people/<int:person_id>/link")
@needs(Right.PEOPLE)
def link(person_id: int) -> Page:
    """Make a new link, as where a password was forgotten."""
    with db.writing() as unit:
        token = link_for(unit, person_id, now())
        person = unit.people.get(person_id)
    return _with_link(person, token)


@bp.post("/people/<int:person_id>/role")
@needs(Right.PEOPLE)
def role(person_id: int) -> Response:
    """Give a person another role, who then signs in anew."""
    with db.writing() as unit:
        change_role(unit, person_id, _role())
    return redirect(url_for("people.show"))


@bp.post("/people/<int:person_id>/active")
@needs(Right.PEOPLE)
def active(person_id: int) -> Response:
    """Take a person out, or bring one back."""
    with db.writing() as unit:
        if request.form.get("active") == "yes":
            bring_back(unit, person_id)
        else:
            take_out(unit, person_id)
    return redirect(url_for("people.show"))


@bp.post("/people/<int:person_id>/sessions")
@needs(Right.PEOPLE)
def sessions(person_id: int) -> Response:
    """Sign a person out everywhere."""
    with db.writing() as unit:
        end_sessions(unit, person_id)
    return redirect(url_for("people.show"))


@bp.post("/people/tablets")
@needs(Right.PEOPLE)
def tablet() -> Response:
    """End the session of a shared tablet, as one that was lost."""
    ends = request.form.get("session", "")
    with db.writing() as unit:
        if any(row.token_hash == ends for row in unit.sessions.shared()):
            unit.sessions.end(ends)
            unit.history.add("sessions ended", None, "a shared tablet")
    return redirect(url_for("people.show"))
