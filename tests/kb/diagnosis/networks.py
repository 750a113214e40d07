"""Published networks, read from BIF files, and exact inference in them by elimination.

The files are part of the wheel pgmpy 1.1.2 on PyPI (MIT), folder pgmpy/utils/example_models;
``.ci/run`` fetches them and names the folder in BAYBOOK_NETWORKS. Nothing of them is kept here.
"""

import gzip
import itertools
import os
import re
import string
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Seen = Mapping[str, str]

_NODE = re.compile(r"variable\s+(\S+)\s*\{\s*type\s+discrete\s*\[\s*\d+\s*\]\s*\{([^}]*)\}")
_TABLE = re.compile(r"probability\s*\(([^)]*)\)\s*\{(.*?)\n\}", re.DOTALL)
_ROW = re.compile(r"\(([^)]*)\)([^;]*);")


@dataclass(frozen=True, slots=True, kw_only=True)
class Factor:
    """A table over some nodes, one axis each, in the order of ``nodes``."""

    nodes: tuple[str, ...]
    table: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """States by node, and by node P(node | parents), the node's own axis last."""

    states: Mapping[str, tuple[str, ...]]
    factors: Mapping[str, Factor]


def network_folder() -> Path:
    """Return the folder of the networks; the test is skipped where none is named.

    Where sources are required, a folder that is named must hold them.
    """
    named = os.environ.get("BAYBOOK_NETWORKS")
    if not named:
        pytest.skip("BAYBOOK_NETWORKS does not name the networks; .ci/run fetches them")
    if not (Path(named) / "asia.bif.gz").is_file():
        said = f"expected BAYBOOK_NETWORKS to name a folder with asia.bif.gz, got {named}"
        if os.environ.get("BAYBOOK_REQUIRE_SOURCES"):
            pytest.fail(said)
        pytest.skip(said)
    return Path(named)


def _listed(text: str) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split(","))


def read_network(path: Path) -> Network:
    """Return the network of a BIF file; every row of every table must sum to 1."""
    text = gzip.decompress(path.read_bytes()).decode()
    states = {name: _listed(values) for name, values in _NODE.findall(text)}
    factors = {}
    for title, body in _TABLE.findall(text):
        name, _, given = title.partition("|")
        parents = _listed(given) if given.strip() else ()
        factors[name.strip()] = _factor((*parents, name.strip()), body, states)
    assert factors.keys() == states.keys()
    return Network(states=states, factors=factors)


def _factor(nodes: tuple[str, ...], body: str, states: Mapping[str, tuple[str, ...]]) -> Factor:
    table = np.full([len(states[node]) for node in nodes], np.nan)
    if len(nodes) == 1:
        table[:] = _numbers(body.strip().removeprefix("table").rstrip(";"))
    for given, numbers in _ROW.findall(body) if len(nodes) > 1 else ():
        named = zip(nodes, _listed(given), strict=False)
        table[tuple(states[node].index(state) for node, state in named)] = _numbers(numbers)
    assert np.allclose(table.sum(axis=-1), 1, atol=1e-6)
    return Factor(nodes=nodes, table=table)


def _numbers(text: str) -> list[float]:
    return [float(part) for part in text.split(",")]


# --- inference -----------------------------------------------------------------------------------


def joint_by_enumeration(network: Network) -> tuple[tuple[str, ...], Floats]:
    """Return the nodes and the full table over all of them; for small networks only."""
    nodes = tuple(network.states)
    table = np.ones([len(network.states[node]) for node in nodes])
    for place in itertools.product(*(range(size) for size in table.shape)):
        state_of = dict(zip(nodes, place, strict=True))
        for factor in network.factors.values():
            table[place] *= factor.table[tuple(state_of[node] for node in factor.nodes)]
    return nodes, table


def product(factors: Sequence[Factor], kept: Sequence[str]) -> Factor:
    """Return the product of the factors, summed over all nodes but those in ``kept``."""
    every = dict.fromkeys(node for factor in factors for node in factor.nodes)
    letter = dict(zip(every, string.ascii_letters, strict=False))
    out = tuple(node for node in kept if node in every)
    terms = ",".join("".join(letter[node] for node in factor.nodes) for factor in factors)
    rule = f"{terms}->{''.join(letter[node] for node in out)}"
    table = np.einsum(rule, *(factor.table for factor in factors), optimize="greedy")
    return Factor(nodes=out, table=np.asarray(table, np.float64))


def _needed(network: Network, wanted: Sequence[str]) -> set[str]:
    """Return the nodes in ``wanted`` with all their ancestors; the others sum to 1."""
    found: set[str] = set()
    todo = list(wanted)
    while todo:
        node = todo.pop()
        if node not in found:
            found.add(node)
            todo += network.factors[node].nodes[:-1]
    return found


def _observed(network: Network, factor: Factor, seen: Seen) -> Factor:
    place = tuple(
        network.states[node].index(seen[node]) if node in seen else slice(None)
        for node in factor.nodes
    )
    left = tuple(node for node in factor.nodes if node not in seen)
    return Factor(nodes=left, table=factor.table[place])


def joint_with(network: Network, kept: Sequence[str], seen: Seen) -> Floats:
    """Return P(kept, seen), one axis for each node of ``kept``, by variable elimination.

    The node whose elimination makes the smallest table goes first.

    References
    ----------
    Zhang & Poole (1994), A simple approach to Bayesian network computations (from memory).
    """
    needed = _needed(network, [*kept, *seen])
    factors = [_observed(network, network.factors[node], seen) for node in sorted(needed)]
    hidden = needed - set(seen) - set(kept)

    def around(node: str) -> set[str]:
        return {other for f in factors if node in f.nodes for other in f.nodes} - {node}

    while hidden:
        node = min(
            sorted(hidden), key=lambda n: np.prod([len(network.states[o]) for o in around(n)])
        )
        touched = [factor for factor in factors if node in factor.nodes]
        merged = product(touched, sorted(around(node)))
        factors = [factor for factor in factors if node not in factor.nodes] + [merged]
        hidden.remove(node)
    return product(factors, kept).table


# --- one fault at a time -------------------------------------------------------------------------

CAUSE = "the cause"


def with_one_cause(network: Network, causes: Sequence[str]) -> Network:
    """Return the network with a node on top whose states are ``causes``, each ``node=state``.

    Causes of one node are its states as they are. Faults of several root nodes come one at a
    time, with odds P(fault) / P(normal), all other fault roots normal; normal is the one state of
    a root that is no cause.
    """
    faults = [tuple(cause.split("=", 1)) for cause in causes]
    roots = list(dict.fromkeys(node for node, _ in faults))
    if len(roots) == 1:
        return _renamed(network, roots[0], causes)
    odds, factors = [], dict(network.factors)
    for node in roots:
        states = network.states[node]
        (normal,) = (state for state in states if (node, state) not in faults)
        rows = [state if node == root else normal for root, state in faults]
        told = np.array([[float(state == row) for state in states] for row in rows])
        factors[node] = Factor(nodes=(CAUSE, node), table=told)
    for node, state in faults:
        prior = dict(zip(network.states[node], network.factors[node].table, strict=True))
        (normal,) = (s for s in network.states[node] if (node, s) not in faults)
        odds.append(prior[state] / prior[normal])
    factors[CAUSE] = Factor(nodes=(CAUSE,), table=np.array(odds) / sum(odds))
    return Network(states={**network.states, CAUSE: tuple(causes)}, factors=factors)


def _renamed(network: Network, name: str, causes: Sequence[str]) -> Network:
    assert tuple(cause.split("=", 1)[1] for cause in causes) == network.states[name]
    factors = {
        CAUSE if node == name else node: replace(
            factor, nodes=tuple(CAUSE if each == name else each for each in factor.nodes)
        )
        for node, factor in network.factors.items()
    }
    states = {CAUSE if node == name else node: row for node, row in network.states.items()}
    return Network(states={**states, CAUSE: tuple(causes)}, factors=factors)


def chances_and_shares(network: Network, node: str, seen: Seen) -> tuple[Floats, Floats]:
    """Return P(cause | seen) and P(node | cause, seen), shape ``(n_causes, n_states)``.

    A row whose cause is impossible holds even shares; it has no weight.
    """
    joint = joint_with(network, (CAUSE, node), seen)
    total = joint.sum(axis=1, keepdims=True)
    even = np.full_like(joint, 1 / joint.shape[1])
    shares = np.divide(joint, total, out=even, where=total > 0)
    return total[:, 0] / total.sum(), shares


def draws(network: Network, count: int, seed: int) -> Iterator[dict[str, str]]:
    """Yield ``count`` cases drawn from the network, parents first, with a fixed seed."""
    order: list[str] = []
    while len(order) < len(network.states):
        order += [
            node
            for node, factor in network.factors.items()
            if node not in order and set(factor.nodes[:-1]) <= set(order)
        ]
    rng = np.random.default_rng(seed)
    for _ in range(count):
        place: dict[str, int] = {}
        for node in order:
            factor = network.factors[node]
            shares = factor.table[tuple(place[parent] for parent in factor.nodes[:-1])]
            place[node] = int(np.searchsorted(np.cumsum(shares), rng.random() * shares.sum()))
        yield {node: network.states[node][at] for node, at in place.items()}
