"""The commands about programs that ask by themselves: tokens made, listed, taken back."""

from collections.abc import Sequence
from datetime import UTC, datetime

import click

from kb.store.tokens import StoredToken
from kb.workflow.tokens import DAYS, MOST_DAYS, SCOPE_WORDS, Scope, make_token
from web.home import shop_store, writing
from web.layout import say, table
from web.report import json_line

_MAY = "; ".join(f"{scope}: {words}" for scope, words in SCOPE_WORDS.items())


@click.group()
def token() -> None:
    """Let programs of the shop ask by themselves: make tokens, list them, take them back."""


def token_state(row: StoredToken, at: datetime) -> str:
    """Return whether a token is good, and until when."""
    if row.revoked is not None:
        return f"taken back {row.revoked.astimezone():%Y-%m-%d}"
    return f"{'until' if row.is_good(at) else 'ended'} {row.ends.astimezone():%Y-%m-%d}"


def _line(row: StoredToken, at: datetime) -> Sequence[str]:
    used = f"{row.last_used.astimezone():%Y-%m-%d %H:%M}" if row.last_used else "never"
    return (str(row.id), row.name, " ".join(row.scopes), token_state(row, at), used)


def _json(row: StoredToken, at: datetime) -> dict[str, object]:
    return {
        "number": row.id,
        "name": row.name,
        "may": list(row.scopes),
        "good": row.is_good(at),
        "made": row.created.isoformat(),
        "made_by": row.created_by,
        "ends": row.ends.isoformat(),
        "last_used": row.last_used.isoformat() if row.last_used else None,
        "taken_back": row.revoked.isoformat() if row.revoked else None,
    }


@token.command("list")
@click.option("--json", "as_json", is_flag=True, help="one JSON object")
def list_command(*, as_json: bool) -> None:
    """List the tokens, the newest first; the tokens themselves are kept nowhere."""
    at = datetime.now(UTC)
    with shop_store() as store, store.read() as unit:
        rows = unit.tokens.all()
    if as_json:
        say(json_line({"tokens": [_json(row, at) for row in rows]}))
        return
    head = ("no", "program", "may", "good", "last used")
    for line in table([head, *(_line(row, at) for row in rows)], widths=(4, 30, 22, 24, 16)):
        say(line)


@token.command()
@click.argument("name")
@click.option(
    "--may",
    "scopes",
    multiple=True,
    required=True,
    type=click.Choice([str(scope) for scope in Scope]),
    help=f"several times; {_MAY}",
)
@click.option(
    "--days",
    default=DAYS,
    show_default=True,
    type=click.IntRange(1, MOST_DAYS),
    help="how long it is good",
)
def add(*, name: str, scopes: Sequence[str], days: int) -> None:
    """Make a token for the program NAME and print it, once."""
    with shop_store() as store, writing(store) as unit:
        made = make_token(unit, name, scopes, days=days, at=datetime.now(UTC))
    say(
        f"For {made.stored.name}, until {made.stored.ends.astimezone():%Y-%m-%d}; "
        f"shown only now, keep it like a password:\n{made.secret}"
    )


@token.command()
@click.argument("number", type=int)
def revoke(*, number: int) -> None:
    """Take the token NUMBER of the list back: its program is let in no more."""
    with shop_store() as store, writing(store) as unit:
        unit.tokens.revoke(number)
        found = unit.tokens.get(number)
    say(f"the token of {found.name} is taken back")
