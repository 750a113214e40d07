import re
from datetime import UTC, datetime, timedelta

from kb.store.engine import default_url, open_store
from kb.workflow.tokens import admit
from tests.web.test_cli import empty, terminal

__all__ = ["empty", "terminal"]


def made(terminal, *words):
    text = terminal.said("token", "add", "billing", "--may", "read", "--may", "close", *words)
    (secret,) = re.findall(r"^(baybook_[\w-]{43})$", text, re.MULTILINE)
    return secret


def tokens(terminal):
    return terminal.told("token", "list", "--json")["tokens"]


def test_a_token_is_printed_once_and_lets_its_program_in(empty):
    secret = made(empty, "--days", "30")
    with open_store(default_url(empty.home)) as store:
        program = admit(store, secret, address="10.0.0.7", at=datetime.now(UTC))
    assert program.scopes == {"read", "close"}
    assert secret not in empty.said("token", "list")
    (row,) = tokens(empty)
    assert (row["name"], row["may"], row["good"]) == ("billing", ["read", "close"], True)
    ends, first = datetime.fromisoformat(row["ends"]), datetime.fromisoformat(row["made"])
    # The end is reckoned a moment after the row is begun.
    assert timedelta(0) <= ends - first - timedelta(days=30) < timedelta(minutes=1)
    assert row["last_used"] is not None


def test_a_token_that_was_taken_back_stays_in_the_list(empty):
    made(empty)
    assert empty.said("token", "revoke", "1") == "the token of billing is taken back\n"
    (row,) = tokens(empty)
    assert not row["good"]
    _, line = empty.said("token", "list").splitlines()
    assert line.split()[:4] == ["1", "billing", "read", "close"]
    assert "taken back" in line
    assert "never" in line


def test_a_number_that_no_token_has_is_told(empty):
    assert "look at the list of tokens" in empty.said("token", "revoke", "7", code=1)


def test_a_program_is_named_and_allowed_something(empty):
    assert "Missing option '--may'" in empty.said("token", "add", "billing", code=2)
    assert "'people' is not one of" in empty.said(
        "token", "add", "billing", "--may", "people", code=2
    )
    assert tokens(empty) == []
