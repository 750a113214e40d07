"""Which recorded findings go together: trees of findings, read for each cause.

Findings of one car depend on each other beyond their cause. A tree links each finding to the one
that it goes with most; several trees stand for what the cases leave open about the links.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import breadth_first_order, minimum_spanning_tree

from kb.diagnosis.profiles import near_base, recorded_shares

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]
Flags = NDArray[np.bool_]

# How many trees (our choice: 30 are no better than 10 on the published networks).
TREES: Final = 10
# Pseudo-cases with which a pair's common link is held near none (our choice: 3 to 30 are alike).
LINK_CASES: Final = 10.0
_SEED: Final = 7
_LEAST: Final = 1e-300


@dataclass(frozen=True, slots=True, kw_only=True)
class Recorded:
    """What the cases recorded.

    ``codes`` is the number of the value by case and field, -1 where none was recorded; ``sizes``
    is how many values each field has; ``causes`` and ``weights`` are by case.
    """

    codes: Codes
    sizes: Codes
    causes: Codes
    weights: Floats
    n_causes: int


@dataclass(frozen=True, slots=True)
class Read:
    """What findings say by cause, "all causes together" being the last row.

    ``together`` is how much likelier they are as they lie linked than each for itself, in nats,
    shape ``(n_causes + 1,)``; ``shares`` is P(value | cause, findings), shape
    ``(n_fields, n_causes + 1, n_values)``, 0 beyond the values of a field.
    """

    together: Floats
    shares: Floats


@dataclass(frozen=True, slots=True)
class _Level:
    """Fields of all trees that are as far from their roots, sorted by parent.

    A node is a field of a tree; ``starts`` is where the children of each of ``parents`` begin,
    ``above`` the parent of each node, ``links`` the number of its table.
    """

    nodes: Codes
    above: Codes
    links: Codes
    parents: Codes
    starts: Codes


@dataclass(frozen=True, slots=True)
class FindingTrees:
    """Trees over fields with fixed values.

    ``shares`` is P(value | cause), shape ``(n_fields, n_causes + 1, n_values)``; ``tables`` is
    P(value | cause, value of the parent), shape ``(n_links, n_causes + 1, n_values, n_values)``;
    ``roots`` are the nodes without a parent, ``levels`` the others from the roots down.
    """

    shares: Floats
    tables: Floats
    roots: Codes
    levels: tuple[_Level, ...]
    n_trees: int

    def read(self, seen: Codes) -> Read:
        """Return what findings say; ``seen`` is the number of each field's value, -1 for none.

        Exact on each tree by messages to the roots and back; over the trees, logarithms and
        shares are averaged.

        References
        ----------
        Pearl (1988), Probabilistic reasoning in intelligent systems, section 4.2 (from memory).
        """
        prior, below, told = self._told(seen)
        shares = self._from_roots(prior, below, told)
        by_tree = shares.reshape(self.n_trees, *self.shares.shape)
        return Read(together=self._together(seen, prior * below), shares=by_tree.mean(axis=0))

    def together(self, seen: Codes) -> Floats:
        """Return ``read(seen).together`` alone, at half its cost."""
        prior, below, _ = self._told(seen)
        return self._together(seen, prior * below)

    def _told(self, seen: Codes) -> tuple[Floats, Floats, Floats]:
        """Return the prior of each node, what is seen at and below it, what it tells its parent."""
        known = np.flatnonzero(seen >= 0)
        fits = np.ones_like(self.shares)
        fits[known] = 0.0
        fits[known, :, seen[known]] = 1.0
        below, told = self._to_roots(np.tile(fits, (self.n_trees, 1, 1)))
        return np.tile(self.shares, (self.n_trees, 1, 1)), below, told

    def _together(self, seen: Codes, joint: Floats) -> Floats:
        known = np.flatnonzero(seen >= 0)
        apart = np.log(self.shares[known, :, seen[known]]).sum(axis=0)
        linked = np.log(joint[self.roots].sum(axis=2)).sum(axis=0) / self.n_trees
        return np.asarray(linked - apart, np.float64)

    def _to_roots(self, below: Floats) -> tuple[Floats, Floats]:
        """Return what is seen at and below each node, and what each node tells its parent."""
        told = np.ones_like(below)
        for level in self.levels[::-1]:
            said = (self.tables[level.links] @ below[level.nodes][..., None])[..., 0]
            told[level.nodes] = said
            below[level.parents] *= np.multiply.reduceat(said, level.starts, axis=0)
        return below, told

    def _from_roots(self, prior: Floats, below: Floats, told: Floats) -> Floats:
        """Return P(value | cause, all that is seen) of each node."""
        shares = _normal(prior * below)
        for level in self.levels:
            rest = shares[level.above] / np.maximum(told[level.nodes], _LEAST)
            share = (rest[..., None, :] @ self.tables[level.links])[..., 0, :]
            shares[level.nodes] = _normal(share * below[level.nodes])
        return shares


def _normal(shares: Floats) -> Floats:
    summed = np.maximum(shares.sum(axis=-1, keepdims=True), _LEAST)
    return np.asarray(shares / summed, np.float64)


def pair_gains(recorded: Recorded, shares: Floats) -> tuple[Floats, Floats]:
    """Return how two values go together over what their causes explain, and each pair's gain.

    The common link of two values is ``(n + k e) / (m + k e)``: n cases have both, the causes alone
    let m expect, and e is m as a share of the pair's cases. The gain of a pair of fields is
    ``sum n ln link`` in nats.

    Returns
    -------
    links : array of shape (n_columns, n_columns)
        A column is a value of a field, the fields one after the other.
    gains : array of shape (n_fields, n_fields)
    """
    field_of = np.repeat(np.arange(len(recorded.sizes)), recorded.sizes)
    value_of = np.concatenate([np.arange(size) for size in recorded.sizes])
    columns = (recorded.codes[:, field_of] == value_of).astype(np.float64)
    of_field = (field_of[:, None] == np.arange(len(recorded.sizes))).astype(np.float64)
    size = len(field_of)
    both, expected = np.zeros((size, size)), np.zeros((size, size))
    for cause in np.unique(recorded.causes):
        mine = recorded.causes == cause
        counts = (columns[mine] * recorded.weights[mine, None]).T @ columns[mine]
        cases = of_field.T @ counts @ of_field
        own = shares[field_of, cause, value_of]
        both += counts
        expected += cases[np.ix_(field_of, field_of)] * np.outer(own, own)
    pairs = of_field.T @ expected @ of_field
    even = LINK_CASES * expected / np.maximum(pairs, _LEAST)[np.ix_(field_of, field_of)]
    none = expected <= 0
    links = np.where(none, 1.0, (both + even) / np.where(none, 1.0, expected + even))
    gains = of_field.T @ (both * np.log(np.maximum(links, _LEAST))) @ of_field
    return links, gains


def _all_shares(recorded: Recorded) -> Floats:
    """Return P(value | cause) by field, the overall shares as the last row of each."""
    fields, most = len(recorded.sizes), int(recorded.sizes.max())
    shares = np.zeros((fields, recorded.n_causes + 1, most))
    for field, size in enumerate(recorded.sizes):
        has = recorded.codes[:, field] >= 0
        at = recorded.causes[has] * size + recorded.codes[has, field]
        own, overall = recorded_shares(
            _summed(recorded, has, at=at, shape=(recorded.n_causes, size))
        )
        shares[field, :-1, :size], shares[field, -1, :size] = own, overall
    return shares


def _summed(recorded: Recorded, rows: Flags, *, at: Codes, shape: tuple[int, int]) -> Floats:
    """Return the weights of the cases in ``rows`` summed by place ``at`` of a table."""
    summed = np.bincount(at, recorded.weights[rows], shape[0] * shape[1])
    return np.asarray(summed.reshape(shape), np.float64)


def _table(recorded: Recorded, shares: Floats, *, pair: tuple[int, int], link: Floats) -> Floats:
    """Return P(value of the child | cause, value of the parent), all causes together last.

    It is held near what P(v | c) and the common link give, in proportion to their product.
    """
    parent, child = pair
    rows, columns = recorded.sizes[parent], recorded.sizes[child]
    has = (recorded.codes[:, parent] >= 0) & (recorded.codes[:, child] >= 0)
    u, v = recorded.codes[has, parent], recorded.codes[has, child]
    at = (recorded.causes[has] * rows + u) * columns + v
    counts = _summed(recorded, has, at=at, shape=(recorded.n_causes, rows * columns))
    base = _normal(shares[child, :, None, :columns] * link).reshape(-1, columns)
    counts = np.concatenate([counts, counts.sum(axis=0, keepdims=True)]).reshape(-1, columns)
    full = np.zeros((recorded.n_causes + 1, shares.shape[2], shares.shape[2]))
    full[:, :rows, :columns] = near_base(counts, base).reshape(-1, rows, columns)
    return full


def _forests(gains: Floats, sizes: Codes) -> Iterator[tuple[Codes, Codes]]:
    """Yield the parents (-1 at a root) and the depths of the fields of each tree.

    A pair counts by its gain less one nat a free number, as of Akaike; the trees differ since each
    adds to the gains a normal error as large as theirs: 2 G is noncentral chi-squared, so that the
    variance of G is ``2 G - f / 2`` with f free numbers.

    References
    ----------
    Chow & Liu (1968), Approximating discrete probability distributions with dependence trees;
    Friedman, Geiger & Goldszmidt (1997), Bayesian network classifiers (both from memory).
    """
    free = np.outer(sizes - 1, sizes - 1)
    usable = np.triu(gains > free, 1)
    spread = np.sqrt(np.where(usable, 2 * gains - free / 2, 0.0))
    rng = np.random.default_rng(_SEED)
    for _ in range(TREES):
        worth = gains - free + spread * rng.standard_normal(gains.shape)
        worth = np.where(usable & (worth > 0), worth, 0.0)
        yield _rooted(minimum_spanning_tree(csr_matrix(-worth)), rng.permutation(len(sizes)))


def _rooted(tree: csr_matrix, roots: Codes) -> tuple[Codes, Codes]:
    parents, depths = np.full(len(roots), -1), np.full(len(roots), -1)
    for root in roots:
        if depths[root] >= 0:
            continue
        order, before = breadth_first_order(tree, root, directed=False)
        depths[root] = 0
        for field in order[1:]:
            parents[field] = before[field]
            depths[field] = depths[before[field]] + 1
    return parents, depths


def fit_trees(recorded: Recorded) -> FindingTrees:
    """Return the trees that the cases teach."""
    shares = _all_shares(recorded)
    links, gains = pair_gains(recorded, shares)
    forests = list(_forests(gains, recorded.sizes))
    fields, first = len(recorded.sizes), np.cumsum([0, *recorded.sizes])
    parents = np.concatenate([row for row, _ in forests])
    depths = np.concatenate([row for _, row in forests])
    pairs: dict[tuple[int, int], int] = {}
    number = np.full(len(parents), -1)
    for node in np.flatnonzero(parents >= 0):
        pair = (int(parents[node]), int(node) % fields)
        number[node] = pairs.setdefault(pair, len(pairs))
    tables = []
    for u, v in pairs:
        link = links[first[u] : first[u + 1], first[v] : first[v + 1]]
        tables.append(_table(recorded, shares, pair=(u, v), link=link))
    wide = shares.shape[2]
    empty = np.zeros((0, recorded.n_causes + 1, wide, wide))
    above = np.where(parents >= 0, parents + np.arange(len(parents)) // fields * fields, -1)
    return FindingTrees(
        shares=shares,
        tables=np.stack(tables) if tables else empty,
        roots=np.flatnonzero(depths == 0),
        levels=tuple(levels_of(above, depths, number)),
        n_trees=len(forests),
    )


def levels_of(above: Codes, depths: Codes, links: Codes) -> Iterator[_Level]:
    """Yield the nodes that are as deep, from the roots down; all are given by node."""
    for depth in range(1, int(depths.max()) + 1):
        nodes = np.flatnonzero(depths == depth)
        nodes = nodes[np.argsort(above[nodes], kind="stable")]
        parents, starts = np.unique(above[nodes], return_index=True)
        yield _Level(nodes, above[nodes], links[nodes], parents, starts)
