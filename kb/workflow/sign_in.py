"""Sign in by password or PIN, hold a session, hand a shared tablet on."""

from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Final

from kb.errors import SignInError, TooManyTriesError
from kb.store.engine import Store
from kb.store.people import StoredPerson
from kb.store.sign_ins import StoredSession
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.passwords import Hasher, clean_name
from kb.workflow.people import new_token, token_hash

# Failed tries within the pause (our choice): of a name from one address, of an address, and of a
# name by password from everywhere. The last is far above the first, so that wrong tries from one
# device never keep somebody out who signs in from another; a PIN, which is short, has no such room.
TRIES_A_NAME: Final = 5
TRIES_AN_ADDRESS: Final = 20
TRIES_FROM_EVERYWHERE: Final = 100
PAUSE: Final = timedelta(minutes=15)
# Characters of a typed name that tries are counted by (our choice).
_KEY: Final = 200
# How long one's own session lasts after it was last used, and in all: a night at home ends it, and
# so does a week (our choice; OWASP ASVS 5.0, 7.3.1 and 7.3.2, asks for both).
OWN_IDLE: Final = timedelta(hours=12)
OWN_LIFE: Final = timedelta(days=7)
# How long a device stays a shared tablet after it was last used (our choice).
SHARED_LIFE: Final = timedelta(days=365)
# A shared tablet that nobody touched for so long asks again who holds it (our choice).
IDLE: Final = timedelta(minutes=15)
# A session in use is noted at most this often, so that reading pages hardly writes (our choice).
NOTED: Final = timedelta(minutes=1)


# A clock that is set back no further than this signs nobody out (our choice: a date that was one
# day wrong).
CLOCK_SLACK: Final = timedelta(days=1)


class Secret(StrEnum):
    """What somebody signs in with."""

    PASSWORD = "password"  # noqa: S105 - the word, not one
    PIN = "PIN"
    CODE = "one-time code"


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One try to sign in."""

    name: str
    typed: str = field(repr=False)
    secret: Secret
    address: str
    code: str = field(default="", repr=False)


def check_secret(store: Store, asked: Asked, *, hasher: Hasher, at: datetime) -> StoredPerson:
    """Return the person whose password or PIN was typed.

    The try is noted before anything is hashed and forgotten when it was right, so that many at
    once count too. An unknown name takes as long as a wrong password and is told the same.

    Raises
    ------
    SignInError
        If name and secret do not belong together, or the person was taken out.
    TooManyTriesError
        If the name or the address failed too often; nothing is hashed then.
    """
    name = clean_name(asked.name)
    key = tries_key(name, asked.secret)
    everywhere = TRIES_A_NAME if asked.secret is Secret.PIN else TRIES_FROM_EVERYWHERE
    with store.write(name or "nobody", at) as unit:
        refuse_too_many(unit, key, asked.address, everywhere=everywhere, at=at)
        unit.failed.add(key, asked.address)
        person = unit.people.named(name)
    if person is None or not person.active:
        stored = None
    else:
        stored = person.pin_hash if asked.secret is Secret.PIN else person.password_hash
    if not hasher.matches(stored, asked.typed) or person is None:
        raise SignInError(
            f"expected a name and its {asked.secret}, got two that do not belong together; try "
            "again, or ask the owner for a link"
        )
    with store.write(name, at) as unit:
        unit.failed.forget(key, asked.address)
    return person


def tries_key(name: str, secret: Secret) -> str:
    """Return what tries are counted by: wrong PINs never shut the way by password."""
    return f"{secret} {''.join(filter(str.isprintable, name.casefold()))[:_KEY]}"


def refuse_too_many(
    unit: UnitOfWork, key: str, address: str, *, everywhere: int, at: datetime
) -> None:
    """Refuse a try while too many failed within the pause.

    Parameters
    ----------
    key : str
        From ``tries_key``.
    everywhere : int
        Failed tries of this key from all addresses together.

    Raises
    ------
    TooManyTriesError
        If there were too many; it says when the next one is taken.
    """
    # A clock that was set back leaves tries of days to come: nobody waits for those.
    unit.failed.forget_outside(at - PAUSE, at + PAUSE)
    tries = (
        (unit.failed.times(name=key, address=address), TRIES_A_NAME),
        (unit.failed.times(name=key), everywhere),
        (unit.failed.times_from(address), TRIES_AN_ADDRESS),
    )
    again = [times[-most] + PAUSE for times, most in tries if len(times) >= most]
    if again:
        when = max(again)
        # The last minute is rounded up, so that the time told is never too early.
        shown = (when + timedelta(seconds=59)).astimezone().strftime("%H:%M")
        raise TooManyTriesError(
            f"expected a pause after too many wrong tries, got another one; try again at {shown}, "
            "or ask the owner for a link",
            again_at=when,
        )


# --- sessions ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Holder:
    """A session that is good, and who holds it; nobody does on a shared tablet in between."""

    session: StoredSession
    person: StoredPerson | None


def open_session(
    unit: UnitOfWork, person_id: int, at: datetime, *, shared: bool, replaces: str = ""
) -> str:
    """Open a session under a new token and return it; the one of ``replaces`` ends.

    Parameters
    ----------
    replaces : str
        The token that the browser held, if any: signing in never goes on under an old one.
    """
    unit.sessions.end(token_hash(replaces))
    token = new_token()
    ends = at + (SHARED_LIFE if shared else OWN_IDLE)
    unit.sessions.open(token_hash(token), person_id, shared=shared, ends=ends)
    return token


def find_holder(unit: UnitOfWork, token: str, at: datetime) -> Holder | None:
    """Return the session of a token and who holds it, None where it is good no more."""
    return holder_at(stored_holder(unit, token), at)


def stored_holder(unit: UnitOfWork, token: str) -> Holder | None:
    """Return what is stored of a token's session and who holds it, good or not, if there is one."""
    session = unit.sessions.find(token_hash(token))
    if session is None:
        return None
    person = None if session.person_id is None else unit.people.get(session.person_id)
    return Holder(session=session, person=person)


def holder_at(stored: Holder | None, at: datetime) -> Holder | None:
    """Return the session and who holds it at a moment, None where it is good no more."""
    if stored is None:
        return None
    session, person = stored.session, stored.person
    if at >= session.ends or _is_from_the_future(session, at):
        return None
    idle = session.shared and abs(at - session.last_seen) > IDLE
    if person is not None and (idle or not person.active):
        person = None
    if person is None and not session.shared:
        return None
    return stored if person is stored.person else Holder(session=session, person=person)


def _is_from_the_future(session: StoredSession, at: datetime) -> bool:
    """Say whether a session was opened or used while the clock was far ahead: no limit ends it."""
    return max(session.created, session.last_seen) - at > CLOCK_SLACK


def to_be_noted(holder: Holder, at: datetime) -> bool:
    """Say whether ``note_use`` has something to write."""
    left = holder.person is None and holder.session.person_id is not None
    return left or abs(at - holder.session.last_seen) >= NOTED


def note_use(unit: UnitOfWork, holder: Holder, at: datetime) -> None:
    """Note that a session is used; a shared tablet that lay idle is nobody's until somebody signs in."""
    session = holder.session
    if holder.person is None:
        unit.sessions.let_go(session.token_hash)
    own_end = min(at + OWN_IDLE, session.created + OWN_LIFE)
    ends = at + SHARED_LIFE if session.shared else own_end
    unit.sessions.touch(session.token_hash, ends=ends)
