"""Posting lists as plain arrays: many added onto the scores of all cases, cases found in many."""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

try:
    from scipy.sparse._sparsetools import csc_matvec
except ImportError:  # the compiled module is private; the plain way below gives the same sums
    csc_matvec = None

Floats = NDArray[np.floating[Any]]
Numbers = NDArray[np.floating[Any] | np.signedinteger[Any]]
Integers = NDArray[np.signedinteger[Any]]

Positions = NDArray[np.int64]

# Length up to which lists are gone through rather than searched one by one (our choice: of 100 to
# 1,500 on 10,000 cases the one that took the least time for six of them).
_SHORT: Final = 300
# Bits by which rows are first told apart, and so how many marks there are (our choice).
_LAST_BITS: Final = 4095
# By type of number, as many as the longest list so far that one weight was added onto.
_ones: dict[str, Floats] = {}


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


def add_rows(total: Floats, rows: Integers, weights: Floats) -> None:
    """Add ``weights`` onto the cases in ``rows``, each of which stands there once."""
    if csc_matvec is None:
        total[rows] += weights
        return
    ends = np.array([0, len(rows)], rows.dtype)
    csc_matvec(len(total), 1, ends, rows, weights, np.ones(1, total.dtype), total)


def add_alike(total: Floats, rows: Integers, weight: float) -> None:
    """Add one weight onto the cases in ``rows``, each of which stands there once.

    Nothing as long as the list is made: taking memory for that and giving it back costs more than
    the sum where lists are long.
    """
    if csc_matvec is None:
        total[rows] += total.dtype.type(weight)
        return
    ones = _ones.get(total.dtype.char)
    if ones is None or len(ones) < len(rows):
        ones = _ones[total.dtype.char] = np.ones(len(rows), total.dtype)
    ends = np.array([0, len(rows)], rows.dtype)
    csc_matvec(len(total), 1, ends, rows, ones, np.full(1, weight, total.dtype), total)


def places(
    pointers: Integers, rows: Integers, *, lists: Integers, wanted: Integers
) -> tuple[Positions, Positions, Positions]:
    """Return which of the cases ``wanted``, each named once, stand in which lists, and where.

    Returns
    -------
    lists, wanted, positions : arrays of shape (n_found,)
        Case ``wanted[w]`` stands in list ``lists[l]`` at ``rows[position]``; in no order.
    """
    starts = pointers[lists].astype(np.int64)
    sizes = pointers[lists + 1] - starts
    short = sizes <= _SHORT
    few, many = np.flatnonzero(short), np.flatnonzero(~short)
    order = np.argsort(wanted)
    found = []
    for some, find in ((few, _gone_through), (many, _searched)):
        entry, column, at = find(rows, starts[some], sizes=sizes[some], wanted=wanted[order])
        found.append((some[entry], order[column], at))
    entries, columns, at = map(np.concatenate, zip(*found, strict=True))
    return entries, columns, at


def _gone_through(
    rows: Integers, starts: Positions, *, sizes: Integers, wanted: Integers
) -> tuple[Positions, Positions, Positions]:
    """Find ascending ``wanted`` cases by going through all rows of the lists."""
    ends = sizes.cumsum()
    at = np.repeat(starts - ends + sizes, sizes)
    at += np.arange(len(at))
    # Most rows end in other bits than all that are wanted.
    marked = np.zeros(_LAST_BITS + 1, np.bool_)
    marked[wanted & _LAST_BITS] = True
    passed = np.flatnonzero(marked[rows[at] & _LAST_BITS])
    here = rows[at[passed]]
    column = wanted.searchsorted(here)
    there = wanted.take(column, mode="clip") == here if len(wanted) else np.zeros(0, np.bool_)
    passed = passed[there]
    return ends.searchsorted(passed, side="right"), column[there], at[passed]


def _searched(
    rows: Integers, starts: Positions, *, sizes: Integers, wanted: Integers
) -> tuple[Positions, Positions, Positions]:
    """Find ascending ``wanted`` cases by halving each list."""
    spans = zip(starts.tolist(), (starts + sizes).tolist(), strict=True)
    at = np.array([rows[a:b].searchsorted(wanted) for a, b in spans], np.int64)
    at = at.reshape(len(starts), len(wanted)) + starts[:, None]
    inside = at < (starts + sizes)[:, None]
    entry, column = np.nonzero(inside & (rows.take(at, mode="clip") == wanted))
    return entry, column, at[entry, column]
