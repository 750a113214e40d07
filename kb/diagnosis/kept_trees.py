"""Trees of findings as plain arrays, and back, so that a new process need not learn them again."""

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kb.diagnosis.links import FindingTrees, levels_of
from kb.retrieval.kept_arrays import Arrays


def tree_arrays(trees: FindingTrees) -> Arrays:
    """Return trees as arrays: their tables, and by node its parent, depth and table."""
    nodes = trees.n_trees * len(trees.shares)
    above, links = np.full(nodes, -1, np.int64), np.full(nodes, -1, np.int64)
    depths = np.zeros(nodes, np.int64)
    for depth, level in enumerate(trees.levels, start=1):
        above[level.nodes], links[level.nodes] = level.above, level.links
        depths[level.nodes] = depth
    return {
        "shares": trees.shares,
        "tables": trees.tables,
        "above": above,
        "depths": depths,
        "links": links,
    }


def trees_of(arrays: Mapping[str, NDArray[Any]]) -> FindingTrees:
    """Return the trees out of which ``tree_arrays`` made the arrays."""
    depths, shares = arrays["depths"], arrays["shares"]
    return FindingTrees(
        shares=shares,
        tables=arrays["tables"],
        roots=np.flatnonzero(depths == 0),
        levels=tuple(levels_of(arrays["above"], depths, arrays["links"])),
        n_trees=len(depths) // len(shares),
    )
