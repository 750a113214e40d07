"""People of the shop: add, change roles, take out, and links that let somebody in once."""

import secrets
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Final

from kb.errors import ConflictError, NotFoundError, ParseError
from kb.store.people import StoredPerson
from kb.store.sign_ins import StoredLink
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.passwords import (
    Hasher,
    clean_name,
    name_problem,
    password_problem,
    pin_problem,
)

# The role that a shop never goes without.
OWNER: Final = "owner"
# How long a link is good: the first owner's, and one that is handed over (our choice).
FIRST_LINK: Final = timedelta(hours=1)
LINK: Final = timedelta(hours=24)
# Bytes of chance in a token: 256 bits, so that guessing one is hopeless.
_TOKEN_BYTES: Final = 32
_DEAD_LINK: Final = (
    "expected a link that is still good, got one that was used, has ended or was replaced; ask "
    "the owner for a new one"
)


def new_token() -> str:
    """Return a secret that nobody can guess, fit for an address or a cookie."""
    return secrets.token_urlsafe(_TOKEN_BYTES)


def token_hash(token: str) -> str:
    """Return what the store keeps of a token."""
    return sha256(token.encode()).hexdigest()


def _refuse(problem: str | None) -> None:
    if problem is not None:
        raise ParseError(problem)


def has_owner(unit: UnitOfWork) -> bool:
    """Say whether the shop has an owner who can sign in."""
    return any(row.role == OWNER and row.active for row in unit.people.all())


# --- people --------------------------------------------------------------------------------------


def add_person(unit: UnitOfWork, name: str, role: str) -> StoredPerson:
    """Add a person, who chooses a password or PIN by a link.

    Raises
    ------
    ParseError
        If the name cannot be one.
    ConflictError
        If somebody has it.
    """
    _refuse(name_problem(name))
    return unit.people.get(unit.people.add(clean_name(name), role))


def person_named(unit: UnitOfWork, name: str) -> StoredPerson:
    """Return the person of that name.

    Raises
    ------
    NotFoundError
        If there is none.
    """
    person = unit.people.named(clean_name(name))
    if person is None:
        raise NotFoundError(f"expected a person of this shop, got '{name}'; look at the list")
    return person


def change_role(unit: UnitOfWork, person_id: int, role: str) -> StoredPerson:
    """Give a person another role, who then signs in anew.

    Raises
    ------
    NotFoundError
        If there is no such person.
    ConflictError
        If the shop would be without an owner.
    """
    person = unit.people.get(person_id)
    if role != person.role:
        if role != OWNER:
            _keep_an_owner(unit, person)
        unit.people.set_role(person_id, role)
        # Nothing goes on under a session that was opened for other rights.
        unit.sessions.end_all_of(person_id)
    return unit.people.get(person_id)


def take_out(unit: UnitOfWork, person_id: int) -> None:
    """Let a person in no more: sessions end, links are taken back, the name stays in the history.

    Raises
    ------
    NotFoundError
        If there is no such person.
    ConflictError
        If the shop would be without an owner.
    """
    person = unit.people.get(person_id)
    _keep_an_owner(unit, person)
    unit.sessions.end_all_of(person_id)
    unit.links.withdraw(person_id=person_id)
    if person.active:
        unit.people.set_active(person_id, active=False)


def bring_back(unit: UnitOfWork, person_id: int) -> None:
    """Let a person in again."""
    if not unit.people.get(person_id).active:
        unit.people.set_active(person_id, active=True)


def _keep_an_owner(unit: UnitOfWork, person: StoredPerson) -> None:
    others = (row for row in unit.people.all() if row.id != person.id)
    if person.role == OWNER and not any(row.role == OWNER and row.active for row in others):
        raise ConflictError(
            f"expected another owner to stay, got {person.name}, the last one; make somebody else "
            "an owner first"
        )


def end_sessions(unit: UnitOfWork, person_id: int) -> None:
    """Sign a person out everywhere; a link that was not used yet lets nobody in either."""
    name = unit.people.get(person_id).name
    unit.sessions.end_all_of(person_id)
    unit.links.withdraw(person_id=person_id)
    unit.history.add("sessions ended", None, name)


def choose_secrets(
    unit: UnitOfWork, person_id: int, chosen: "Chosen", *, keep_session: str = ""
) -> None:
    """Set the password, the PIN or both; every other session and open link of the person ends.

    Parameters
    ----------
    keep_session : str
        Hash of the token of the session that goes on.
    """
    if chosen.password_hash or chosen.pin_hash:
        unit.people.set_hashes(
            person_id, password_hash=chosen.password_hash, pin_hash=chosen.pin_hash
        )
        unit.sessions.end_all_of(person_id, but=keep_session)
        unit.links.withdraw(person_id=person_id)


@dataclass(frozen=True, slots=True, kw_only=True)
class Chosen:
    """The hashes of what a person chose; None where nothing was."""

    password_hash: str | None = field(default=None, repr=False)
    pin_hash: str | None = field(default=None, repr=False)


def hashed(password: str, pin: str, *, hasher: Hasher, name: str = "") -> Chosen:
    """Check and hash what a person chose; an empty text chooses nothing.

    Parameters
    ----------
    name : str
        Whose it is to be: a password made of it is refused.

    Raises
    ------
    ParseError
        If the password or the PIN cannot be one.
    """
    if password:
        _refuse(password_problem(password, name=name))
    if pin:
        _refuse(pin_problem(pin))
    return Chosen(
        password_hash=hasher.hash(password) if password else None,
        pin_hash=hasher.hash(pin) if pin else None,
    )


# --- links ---------------------------------------------------------------------------------------


def link_for_first_owner(unit: UnitOfWork, at: datetime) -> str:
    """Return the token of a link by which the first owner names himself; earlier ones end.

    Raises
    ------
    ConflictError
        If the shop has an owner.
    """
    if has_owner(unit):
        raise ConflictError("expected a shop without an owner, got one with; ask the owner")
    token = new_token()
    unit.links.add(token_hash(token), ends=at + FIRST_LINK, role=OWNER)
    unit.history.add("link", None, "for the first owner")
    return token


def link_for(unit: UnitOfWork, person_id: int, at: datetime) -> str:
    """Return the token of a link that signs a person in once; earlier ones of the person end.

    Raises
    ------
    NotFoundError
        If there is no such person.
    ConflictError
        If the person was taken out.
    """
    person = unit.people.get(person_id)
    if not person.active:
        raise ConflictError(
            f"expected somebody who may sign in, got {person.name}, who was taken out; bring "
            f"{person.name} back first"
        )
    token = new_token()
    unit.links.add(token_hash(token), ends=at + LINK, person_id=person_id)
    unit.history.add("link", None, f"for {person.name}")
    return token


@dataclass(frozen=True, slots=True, kw_only=True)
class Invitation:
    """A link that is good: for a person, or for the first owner."""

    link: StoredLink
    person: StoredPerson | None


def invitation(unit: UnitOfWork, token: str, at: datetime) -> Invitation:
    """Return what a link is for, without using it up.

    Raises
    ------
    NotFoundError
        If it was used, has ended, or never was.
    """
    link = unit.links.find(token_hash(token))
    # One that ends later than any was made while the clock was ahead.
    if link is None or link.used is not None or not timedelta(0) < link.ends - at <= 2 * LINK:
        raise NotFoundError(_DEAD_LINK)
    if link.person_id is None and has_owner(unit):
        # Somebody became the owner in another way meanwhile.
        raise NotFoundError(_DEAD_LINK)
    person = None if link.person_id is None else unit.people.get(link.person_id)
    return Invitation(link=link, person=person)


def take_link(
    unit: UnitOfWork, token: str, at: datetime, *, chosen: Chosen, name: str = ""
) -> StoredPerson:
    """Use a link up and return who signs in by it; of two at once, one.

    Raises
    ------
    NotFoundError
        If the link was used, has ended, or never was.
    ParseError
        If a new person's name cannot be one.
    ConflictError
        If a new person's name is somebody's.
    """
    found = invitation(unit, token, at)
    if not unit.links.use(found.link.token_hash):
        raise NotFoundError(_DEAD_LINK)
    if found.person is not None:
        unit.history.add("link taken", None, found.person.name)
        choose_secrets(unit, found.person.id, chosen)
        return unit.people.get(found.person.id)
    _refuse(name_problem(name))
    person_id = unit.people.add(
        clean_name(name),
        found.link.role or "",
        password_hash=chosen.password_hash,
        pin_hash=chosen.pin_hash,
    )
    return unit.people.get(person_id)
