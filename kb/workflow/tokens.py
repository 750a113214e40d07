"""Let programs in: tokens with what they may do and an end, made and taken back by the owner."""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum
from typing import Final

from kb.errors import ConflictError, ParseError, SignInError, TooManyTriesError
from kb.store.engine import Store
from kb.store.tokens import StoredToken
from kb.store.unit_of_work import UnitOfWork
from kb.workflow.passwords import clean_name, name_problem
from kb.workflow.people import new_token, token_hash

# So that a token that lies somewhere by mistake is known for what it is.
PREFIX: Final = "baybook_"
# Days that a token is good for unless told otherwise, and at most (our choice).
DAYS: Final = 365
MOST_DAYS: Final = 730
# A token in use is noted at most this often, so that reading hardly writes (our choice).
NOTED: Final = timedelta(minutes=1)
# Wrong tokens of one address within the pause; then it is told to wait, and nothing is written
# down (our choice). A good token is let in all the same: a program with an old token never keeps
# another one out, and 256 bits cannot be guessed.
TRIES: Final = 20
PAUSE: Final = timedelta(minutes=15)
# Counted apart from people who sign in from the same address: neither keeps the other out.
_KIND: Final = "token"


class Scope(StrEnum):
    """What a program may do."""

    READ = "read"
    WORK = "work"
    CLOSE = "close"
    WEEK = "week"


SCOPE_WORDS: Final = {
    Scope.READ: "reads jobs, cases and what changed, and searches",
    Scope.WORK: "opens jobs and adds to them",
    Scope.CLOSE: "closes jobs",
    Scope.WEEK: "reads the week",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Program:
    """A program that a good token let in."""

    token_id: int
    name: str
    scopes: frozenset[str]

    @property
    def who(self) -> str:
        """The name that stands in the history."""
        return f"{self.name} (program)"


@dataclass(frozen=True, slots=True, kw_only=True)
class MadeToken:
    """A token that was just made; ``secret`` is shown once and kept nowhere."""

    secret: str = field(repr=False)
    stored: StoredToken


def read_scopes(typed: Iterable[str]) -> tuple[Scope, ...]:
    """Return what a program may do, each once, in one order.

    Raises
    ------
    ParseError
        If nothing is named, or something that there is not.
    """
    wanted = set(typed)
    unknown = wanted - set(Scope)
    if unknown or not wanted:
        got = f"'{min(unknown)[:20]}'" if unknown else "nothing"
        raise ParseError(
            f"expected what the program may do ({', '.join(Scope)}), got {got}; choose at least one"
        )
    return tuple(scope for scope in Scope if scope in wanted)


def make_token(
    unit: UnitOfWork, name: str, scopes: Iterable[str], *, days: int = DAYS, at: datetime
) -> MadeToken:
    """Make a token for a program.

    Raises
    ------
    ParseError
        If the name cannot be one, nothing is allowed, or the days are not 1 to 730.
    ConflictError
        If a program of that name has a good token.
    """
    if (problem := name_problem(name)) is not None:
        raise ParseError(problem)
    if not 1 <= days <= MOST_DAYS:
        raise ParseError(
            f"expected 1 to {MOST_DAYS} days, got {days}; a token is made anew before it ends"
        )
    allowed, called = read_scopes(scopes), clean_name(name)
    same = (row for row in unit.tokens.all() if row.name.casefold() == called.casefold())
    if any(row.is_good(at) for row in same):
        raise ConflictError(
            f"expected a name of its own, got {called}, which has a token; take that back first, "
            "or choose another name"
        )
    secret = PREFIX + new_token()
    ends = at + timedelta(days=days)
    made = unit.tokens.add(called, token_hash(secret), scopes=allowed, ends=ends)
    return MadeToken(secret=secret, stored=unit.tokens.get(made))


def admit(store: Store, secret: str, *, address: str, at: datetime) -> Program:
    """Return the program whose token was sent.

    Raises
    ------
    SignInError
        If there is no such token, it has ended, or it was taken back; which of these is not told.
    TooManyTriesError
        If the address sent too many wrong ones; this one is not written down.
    """
    with store.read() as unit:
        found = unit.tokens.find(token_hash(secret))
    if found is None or not found.is_good(at):
        _note_wrong(store, address, at)
        raise SignInError(
            "expected a token that is good, got one that is unknown, has ended or was taken back; "
            "ask the owner for a new one"
        )
    if found.last_used is None or abs(at - found.last_used) >= NOTED:
        with store.write(found.name, at) as unit:
            unit.tokens.touch(found.id)
    return Program(token_id=found.id, name=found.name, scopes=frozenset(found.scopes))


def _note_wrong(store: Store, address: str, at: datetime) -> None:
    counted = f"{_KIND} {address}"
    with store.read() as unit:
        recent = [tried for tried in unit.failed.times_from(counted) if abs(at - tried) < PAUSE]
    if len(recent) >= TRIES:
        raise TooManyTriesError(
            "expected a pause after too many wrong tokens, got another one; look whether the "
            "program has its newest token",
            again_at=recent[-TRIES] + PAUSE,
        )
    with store.write("nobody", at) as unit:
        unit.failed.forget_outside(at - PAUSE, at + PAUSE)
        unit.failed.add(_KIND, counted)
