from socket import gethostname

import pytest

from web.hosts import is_own, own_names

SHOP = own_names(["Bay.example"])


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost:8023", "[::1]:8023", "LOCALHOST"])
def test_this_machine_is_asked_by_its_loopback_names(host):
    assert is_own(host, None)
    assert is_own(host, SHOP)


@pytest.mark.parametrize(
    "host",
    [
        "127.0.0.1:80@evil.example",
        "localhost:x",
        "localhost:80/evil.example",
        "[::1]evil.example",
        "[::1]:80@evil.example",
        "localhost\\evil.example",
        "localhost#",
        "[localhost]",
        "evil.example",
        "127.0.0.1.evil.example",
        "localhost.evil.example:80",
        "",
        "[",
        "0x7f.1",
    ],
)
def test_a_foreign_name_is_never_this_machine(host):
    assert not is_own(host, None)
    assert not is_own(host, SHOP)


@pytest.mark.parametrize("host", ["192.168.1.4:8023", "[fe80::1]:8023", "10.0.0.2"])
def test_a_bare_address_is_this_machine_only_where_the_shop_is_served(host):
    assert is_own(host, SHOP)
    assert not is_own(host, None)


def test_the_shop_may_ask_by_the_machines_own_names_and_those_given():
    own = gethostname().lower()
    for name in (own, f"{own}.local", "bay.example", "BAY.example:8023"):
        assert is_own(name, SHOP)
    assert not is_own("other.example", SHOP)
