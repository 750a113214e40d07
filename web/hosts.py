"""By which names this machine may be asked: a foreign name that leads here gets no page.

A page of another site can point its own name at this machine and read what comes back. So where
the pages are served to this machine alone, only its loopback names are answered. Served to the
shop, a bare address is answered too (a foreign page always comes by a name, never by an address),
and the names that this machine or its owner gives it.
"""

import re
import socket
from collections.abc import Iterable
from ipaddress import ip_address
from typing import Final

# Where this machine reaches itself; a proxy that asks there comes from there.
OWN_ADDRESSES: Final = frozenset({"127.0.0.1", "::1"})
LOOPBACK: Final = OWN_ADDRESSES | {"localhost"}


def own_names(given: Iterable[str] = ()) -> frozenset[str]:
    """Return the names of this machine: those given, its own, its own in the local network."""
    own = socket.gethostname().lower()
    return frozenset({own, f"{own}.local", *(name.lower() for name in given)}) | LOOPBACK


# A name, or an address in brackets, and perhaps a port: links are made of it, so nothing else may
# stand in it.
_HOST: Final = re.compile(r"(?:\[([0-9a-f:.]+)\]|([^:@/?#\\\s\[\]]+))(?::[0-9]{1,5})?")


def name_of(host: str) -> str:
    """Return the name or address of a ``Host`` header without its port; empty where it is none."""
    found = _HOST.fullmatch(host.lower())
    return (found[1] or found[2]) if found else ""


def is_own(host: str, names: frozenset[str] | None) -> bool:
    """Say whether a request to ``host`` is meant for this machine.

    Parameters
    ----------
    host : str
        As in the request, perhaps with a port.
    names : frozenset of str or None
        Names of this machine where the shop may ask it; None where it asks itself alone.
    """
    name = name_of(host)
    if names is None:
        return name in LOOPBACK
    try:
        ip_address(name)
    except ValueError:
        return name in names
    return True
