"""Posting lists as plain arrays: many added onto the scores of all cases, cases found in many."""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

try:
    from scipy.sparse._sparsetools import csc_matvec
except ImportError:  # the compiled module is private; the plain way below gives the same sums
    csc_matvec = None

Numbers = NDArray[np.floating[Any]]
Integers = NDArray[np.signedinteger[Any]]

# Length up to which lists are searched together, beside the longer ones (our choice: most lists
# have a handful of cases, of which the longest would ask for 20 steps).
_SHORT: Final = 15


def add_lists(
    total: Numbers,
    pointers: Integers,
    *,
    rows: Integers,
    values: Numbers,
    lists: Integers,
    scales: Numbers,
) -> None:
    """Add ``scales[k]`` times posting list ``lists[k]`` onto ``total``, for every k.

    List ``i`` has its ``rows`` and ``values`` from ``pointers[i]`` to ``pointers[i + 1]``; it names
    a case once, and is asked for once. ``values``, ``scales`` and ``total`` have one type. The
    compiled loop is four times faster than the plain one on long lists.
    """
    # The compiled loop takes neighbouring columns. Between two lists stands one that ends before it
    # begins and is therefore empty, which is why lists are added from the last to the first.
    order = np.argsort(-lists)
    lists, scales = lists[order], scales[order]
    if csc_matvec is None:
        for at, scale in zip(lists, scales, strict=True):
            part = slice(pointers[at], pointers[at + 1])
            total[rows[part]] += scale * values[part]
        return
    ends = np.empty(2 * len(lists), rows.dtype)
    ends[::2], ends[1::2] = pointers[lists], pointers[lists + 1]
    weights = np.zeros(2 * len(lists), values.dtype)
    weights[::2] = scales
    csc_matvec(len(total), max(0, len(ends) - 1), ends, rows, values, weights, total)


def add_rows(total: Numbers, rows: Integers, weights: Numbers) -> None:
    """Add ``weights`` onto the cases in ``rows``, each of which stands there once."""
    if csc_matvec is None:
        total[rows] += weights
        return
    ends = np.array([0, len(rows)], rows.dtype)
    csc_matvec(len(total), 1, ends, rows, weights, np.ones(1, total.dtype), total)


def places(
    pointers: Integers, rows: Integers, *, lists: Integers, wanted: Integers
) -> NDArray[np.int64]:
    """Return where case ``wanted[j]`` stands in list ``lists[i]``, -1 where it does not.

    Searches in lists of about one length go on side by side, halving what is left of them.

    Returns
    -------
    array of shape (n_lists, n_wanted)
        Positions in ``rows``.
    """
    found = np.full((len(lists), len(wanted)), -1, np.int64)
    sizes = pointers[lists + 1] - pointers[lists]
    short = sizes <= _SHORT
    for some in (short, ~short):
        if len(rows) and len(wanted) and some.any():
            start, left = pointers[lists[some]].astype(np.int64), sizes[some]
            found[some] = _search(rows, start, left=left, wanted=wanted)
    return found


def _search(
    rows: Integers, start: NDArray[np.int64], *, left: Integers, wanted: Integers
) -> NDArray[np.int64]:
    """Return where each wanted case stands in ``left`` rows from ``start`` on, -1 where nowhere."""
    at = np.repeat(start[:, None], len(wanted), axis=1)
    # The wanted case stands where the search is, or after it, or nowhere.
    for _ in range(int(left.max()).bit_length()):
        half = (left >> 1)[:, None]
        at += half * (rows.take(at + half, mode="clip") <= wanted)
        left = left - half[:, 0]
    there = (rows.take(at, mode="clip") == wanted) & (left > 0)[:, None]
    return np.where(there, at, -1)
