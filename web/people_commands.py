"""The commands about people, and the links that let the first ones in."""

from collections.abc import Sequence
from datetime import UTC, datetime

import click

from kb.store.engine import Store
from kb.store.people import StoredPerson
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.people import (
    OWNER,
    add_person,
    bring_back,
    change_role,
    has_owner,
    link_for,
    link_for_first_owner,
    person_named,
    take_out,
)
from web.home import shop_store, writing
from web.layout import say, table
from web.report import json_line
from web.rights import Role

# The owner of the demonstration; invented.
DEMO_OWNER = "Mara Tolling"
_ADDRESS = "http://127.0.0.1:8023"
_ROLE = click.Choice([str(role) for role in Role])
_address = click.option(
    "--address", default=_ADDRESS, show_default=True, help="where the pages are served"
)


def sign_in_address(base: str, token: str) -> str:
    """Return the address of a link that signs in once."""
    return f"{base.rstrip('/')}/sign-in/{token}"


def first_link(store: Store) -> str | None:
    """Return the token of a link for the first owner, None where the shop has an owner."""
    with store.read() as unit:
        if has_owner(unit):
            return None
    with writing(store) as unit:
        return link_for_first_owner(unit, datetime.now(UTC))


def demo_link(store: Store) -> str:
    """Return the token of a link that signs in as the owner of the demonstration."""
    with writing(store) as unit:
        person = unit.people.named(DEMO_OWNER) or add_person(unit, DEMO_OWNER, OWNER)
        bring_back(unit, person.id)
        return link_for(unit, person.id, datetime.now(UTC))


@click.group()
def user() -> None:
    """Name the people of the shop, their roles, and links that sign them in once."""


def _line(person: StoredPerson, sessions: int) -> Sequence[str]:
    kinds = {"password": person.password_hash, "PIN": person.pin_hash}
    has = " and ".join(kind for kind, stored in kinds.items() if stored) or "neither yet"
    has += ", one-time code" if person.totp_secret else ""
    return (person.name, person.role if person.active else "taken out", has, str(sessions))


def _json(person: StoredPerson, sessions: int) -> dict[str, object]:
    return {
        "name": person.name,
        "role": person.role,
        "active": person.active,
        "password": person.password_hash is not None,
        "pin": person.pin_hash is not None,
        "one_time_code": person.totp_secret is not None,
        "sessions": sessions,
    }


@user.command("list")
@click.option("--json", "as_json", is_flag=True, help="one JSON object")
def list_command(*, as_json: bool) -> None:
    """List the people of the shop."""
    with shop_store() as store, store.read() as unit:
        rows = [(row, len(unit.sessions.of(row.id))) for row in unit.people.all()]
    if as_json:
        say(json_line({"people": [_json(*row) for row in rows]}))
        return
    head = ("name", "role", "password or PIN", "signed in on")
    for line in table([head, *(_line(*row) for row in rows)], widths=(36, 12, 32, 12)):
        say(line)


def _say_link(unit: UnitOfWork, person: StoredPerson, address: str) -> None:
    token = link_for(unit, person.id, datetime.now(UTC))
    say(f"For {person.name}, once, within 24 hours:\n{sign_in_address(address, token)}")


@user.command()
@click.argument("name")
@click.option("--role", type=_ROLE, default="technician", show_default=True)
@_address
def add(name: str, role: str, address: str) -> None:
    """Add a person and print a link to hand over."""
    with shop_store() as store, writing(store) as unit:
        _say_link(unit, add_person(unit, name, role), address)


@user.command()
@click.argument("name")
@_address
def link(name: str, address: str) -> None:
    """Print a new link for a person, as where a password was forgotten."""
    with shop_store() as store, writing(store) as unit:
        _say_link(unit, person_named(unit, name), address)


@user.command("role")
@click.argument("name")
@click.argument("role", type=_ROLE)
def role_command(name: str, role: str) -> None:
    """Give a person another role."""
    with shop_store() as store, writing(store) as unit:
        person = change_role(unit, person_named(unit, name).id, role)
    say(f"{person.name}: {person.role}")


@user.command()
@click.argument("name")
def off(name: str) -> None:
    """Take a person out: signed out everywhere, and in no more."""
    with shop_store() as store, writing(store) as unit:
        person = person_named(unit, name)
        take_out(unit, person.id)
    say(f"{person.name} is taken out")


@user.command()
@click.argument("name")
def on(name: str) -> None:
    """Bring a person back who was taken out."""
    with shop_store() as store, writing(store) as unit:
        person = person_named(unit, name)
        bring_back(unit, person.id)
    say(f"{person.name} may sign in again")


@user.command("no-code")
@click.argument("name")
def no_code(name: str) -> None:
    """Ask a person for no one-time code any more, as where the phone was lost."""
    with shop_store() as store, writing(store) as unit:
        person = person_named(unit, name)
        unit.people.set_code(person.id, secret=None, step=None)
        unit.sessions.end_all_of(person.id)
    say(f"{person.name} signs in without a one-time code")
