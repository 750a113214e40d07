import socket
import threading

import pytest

from tests.web.test_serving import answer, both_of, keeper, linux_only, until
from web.balance import MOST_LOOKS, Balance, Connections

__all__ = ["keeper"]


@pytest.fixture
def two():
    connections = Connections(2)
    return Balance(connections, 0), Balance(connections, 1)


def test_a_process_with_more_connections_leaves_a_new_one_to_the_other(two):
    first, second = two
    second.connections.write(1, 3)
    assert first.takes(3)
    assert not first.takes(4)
    assert second.takes(3)


def test_nobody_waits_for_a_process_that_does_not_serve(two):
    first, second = two
    assert first.takes(10)
    second.connections.write(1, 0)
    assert not first.takes(10)
    second.connections.away(1)
    assert first.takes(10)


def test_a_process_that_does_not_come_to_it_is_not_waited_for(two):
    first, second = two
    second.connections.write(1, 0)
    waited = [first.takes(1) for _ in range(MOST_LOOKS + 2)]
    assert waited == [False] * MOST_LOOKS + [True, False]


def who_answers(connection):
    """Return the process behind a connection that is kept."""
    connection.sendall(b"GET / HTTP/1.1\r\nHost: here\r\n\r\n")
    head, _, body = connection.recv(65536).partition(b"\r\n\r\n")
    assert head.startswith(b"HTTP/1.1 200")
    return int(body or connection.recv(65536))


@linux_only
def test_connections_that_stay_are_shared_by_two_processes(keeper):
    port, _ = keeper()
    both_of(port, set())
    # Those that asked until both served are gone when nobody has one more than the other.
    kept = [socket.create_connection(("127.0.0.1", port), timeout=30) for _ in range(16)]
    try:
        behind = [who_answers(one) for one in kept]
    finally:
        for one in kept:
            one.close()
    counts = sorted(behind.count(process) for process in set(behind))
    assert len(counts) == 2
    assert counts[1] - counts[0] <= 2


@linux_only
def test_connections_made_at_once_are_all_answered(keeper):
    port, _ = keeper()
    both_of(port, set())
    found = []
    asking = [threading.Thread(target=lambda: found.append(answer(port))) for _ in range(40)]
    for one in asking:
        one.start()
    for one in asking:
        one.join(30)
    assert until(lambda: len(found) == 40)
    assert None not in found
