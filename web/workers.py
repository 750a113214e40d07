"""Worker processes that hold the memory in parts: where they are asked, and by which connection.

They belong to a Dask cluster that somebody else runs. A scheduler runs what it is sent, and what it
sends back is unpacked: without certificates it is asked on this machine alone.
"""

import re
import socket
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Self

from kb.errors import ParseError, StoreError
from kb.retrieval.cluster import ClusterShards
from kb.retrieval.connection import Connection
from kb.workflow.spread import PartFiles, Spread, Spreading, in_one
from web.hosts import LOOPBACK

if TYPE_CHECKING:
    from distributed import Client

# Parts unless told otherwise (our choice: a small machine has as many processors), and at most.
USUAL_PARTS: Final = 4
MOST_PARTS: Final = 1_000
# Seconds in which a scheduler must answer (our choice).
ANSWERS_WITHIN_S: Final = 5.0
_ADDRESS: Final = re.compile(r"(tcp|tls)://(?:\[([0-9a-f:.]+)\]|([^:@/?#\\\s\[\]]+)):([0-9]{1,5})")


@dataclass(frozen=True, slots=True, kw_only=True)
class Address:
    """Where a scheduler listens, as Dask writes it: tcp://127.0.0.1:8786."""

    text: str
    host: str
    port: int

    @classmethod
    def read(cls, typed: str) -> Self:
        """Return a typed address.

        Raises
        ------
        ParseError
            If it is none, or one of another machine without certificates.
        """
        found = _ADDRESS.fullmatch(typed)
        if found is None:
            raise ParseError(
                f"expected an address like tcp://127.0.0.1:8786, got '{typed}'; give it as the "
                "scheduler prints it",
                text=typed,
            )
        host = found[2] or found[3]
        if found[1] == "tcp" and host not in LOOPBACK:
            raise ParseError(
                f"expected tls:// for a scheduler on another machine, got '{typed}': it runs what "
                "anybody sends it; let it ask for certificates, or run it on 127.0.0.1",
                text=typed,
            )
        return cls(text=typed, host=host, port=int(found[4]))

    def look(self) -> None:
        """Look whether anybody could answer there; makes no thread, so that a process may split.

        Raises
        ------
        StoreError
            If Dask is not installed here, nobody listens there, or it is no scheduler.
        """
        if find_spec("distributed") is None:
            raise StoreError(
                "expected Dask for --cluster, got none; pip install 'baybook[cluster]'"
            )
        try:
            with socket.create_connection((self.host, self.port), ANSWERS_WITHIN_S) as opened:
                # A scheduler speaks first, but behind certificates. The client of Dask would wait
                # long for one that never does.
                if self.text.startswith("tcp") and not opened.recv(1):
                    raise ConnectionResetError("it hung up")
        except OSError as error:
            raise _silent(self.text, error) from error


def _silent(address: str, error: Exception) -> StoreError:
    return StoreError(
        f"expected a scheduler at {address}, got {type(error).__name__}: {error}; start one there "
        "(dask scheduler --host 127.0.0.1), or leave --cluster out"
    )


def connected(address: str) -> Connection:
    """Return the connection of this process; made after the last split, as it has threads.

    Raises
    ------
    StoreError
        If no scheduler answers there.
    """
    try:
        return Connection(partial(_client, address))
    except OSError as error:
        raise _silent(address, error) from error


def _client(address: str) -> "Client":
    from distributed import Client  # noqa: PLC0415 - an extra

    # Its constructor has no types.
    return Client(  # type: ignore[no-untyped-call]
        address, timeout=ANSWERS_WITHIN_S, direct_to_workers=True
    )


def spreading(config: Mapping[str, Any]) -> Spreading:
    """Return what lets workers hold the memory where the settings name a cluster.

    Parameters
    ----------
    config : mapping
        ``CLUSTER``, an address or None, ``PARTS`` and ``HOME``.
    """
    if config["CLUSTER"] is None:
        return in_one
    files = PartFiles(Path(config["HOME"]), config["PARTS"])
    return Spread(files, partial(ClusterShards, connected(config["CLUSTER"])))
