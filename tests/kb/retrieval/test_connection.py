import pytest

from kb.retrieval import connection
from kb.retrieval.connection import AGAIN_AFTER_S, Connection


class Client:
    """A client as far as its state goes."""

    def __init__(self):
        self.status = "running"


class Scheduler:
    """Takes connections unless it is away."""

    def __init__(self):
        self.away = False
        self.asked = 0

    def __call__(self):
        self.asked += 1
        if self.away:
            raise TimeoutError("nobody there")
        return Client()


@pytest.fixture
def now(monkeypatch):
    """Return the clock, a list of one time."""
    clock = [100.0]
    monkeypatch.setattr(connection, "monotonic", lambda: clock[0])
    return clock


def test_one_client_is_made_and_given_while_it_stands():
    scheduler = Scheduler()
    given = Connection(scheduler)
    assert given() is given()
    assert scheduler.asked == 1


def test_who_finds_no_scheduler_at_first_is_told():
    scheduler = Scheduler()
    scheduler.away = True
    with pytest.raises(TimeoutError, match="nobody there"):
        Connection(scheduler)


def test_a_client_that_still_waits_for_its_scheduler_is_left_to_it():
    scheduler = Scheduler()
    given = Connection(scheduler)
    client = given._client
    client.status = "connecting"
    assert given() is None
    client.status = "running"
    assert given() is client
    assert scheduler.asked == 1


def test_a_lost_connection_is_made_again_but_not_at_every_question(now):
    scheduler = Scheduler()
    given = Connection(scheduler)
    first = given._client
    scheduler.away = True
    first.status = "closed"
    assert [given(), given()] == [None, None]
    assert scheduler.asked == 2
    scheduler.away = False
    now[0] += AGAIN_AFTER_S - 1
    assert given() is None
    now[0] += 1
    again = given()
    assert again is not None
    assert again is not first
    assert (given(), scheduler.asked) == (again, 3)


def test_nobody_waits_for_another_who_connects():
    scheduler = Scheduler()
    given = Connection(scheduler)
    given._client.status = "closed"
    with given._lock:
        assert given() is None
    assert given() is not None
