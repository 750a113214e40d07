from datetime import UTC, datetime

import pytest

from kb.case.shop_rows import ShopTerm
from kb.workflow.sign_in import stored_holder
from tests.web.conftest import session_for
from web import known_sessions
from web.known_sessions import KnownSessions
from web.rights import Role


@pytest.fixture
def read(site, monkeypatch):
    """Return the tokens whose sessions were read from the store."""
    tokens = []

    def noting(unit, token):
        tokens.append(token)
        return stored_holder(unit, token)

    monkeypatch.setattr(known_sessions, "stored_holder", noting)
    return tokens


@pytest.fixture
def known(site):
    return KnownSessions(site.app.extensions["baybook"])


def test_a_session_is_read_once_while_nobody_writes(site, known, read):
    first, second = site.session, session_for(site.store, Role.TECHNICIAN)
    for _ in range(3):
        assert known.of(first)[0].person.name == "shop"
        assert known.of(second)[0].person.name == "the technician"
        assert known.of("guessed")[0] is None
    assert read == [first, second, "guessed"]


def test_whatever_is_written_is_seen_by_the_next_request(site, known, read):
    holder, words = known.of(site.session)
    with site.store.write("Ines", datetime.now(UTC)) as unit:
        unit.sessions.end_all_of(holder.person.id)
    assert known.of(site.session)[0] is None
    body = {"means": "symptom", "what": "ac_not_cold"}
    with site.store.write("Ines", datetime.now(UTC)) as unit:
        unit.terms.add(ShopTerm(kind="synonym", key="wuffles", name="wuffles", body=body))
    now = known.of(site.session)[1]
    assert now.shop.mark != words.shop.mark
    assert known.of(site.session)[1] is now
    assert len(read) == 3


def test_many_tokens_at_once_are_not_all_kept(site, known, read, monkeypatch):
    monkeypatch.setattr(known_sessions, "_MOST", 2)
    for token in ("a", "b", "c", "a"):
        assert known.of(token)[0] is None
    assert read == ["a", "b", "c", "a"]


def test_a_database_that_tells_no_writes_is_read_each_time(site, known, read, monkeypatch):
    monkeypatch.setattr(site.app.extensions["baybook"].store.version, "now", lambda: None)
    for _ in range(2):
        assert known.of(site.session)[0].person.name == "shop"
    assert read == [site.session] * 2
