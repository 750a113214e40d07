"""The scales of all quantities as arrays, so that none is fitted again by a new process."""

from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final

import numpy as np
from numpy.typing import DTypeLike, NDArray
from typing_extensions import override

from kb.retrieval.columns import Named, Names, Texts
from kb.retrieval.kept_arrays import Arrays
from kb.retrieval.kept_values import KeptValues, codes_at, pack_codes
from kb.retrieval.levels import Side, Sorted, code_type
from kb.retrieval.moments import Scale
from kb.retrieval.postings import Postings, Rows
from kb.retrieval.similarity import normal_scores

Floats = NDArray[np.float64]
Places = NDArray[np.integer[Any]]

# Values from which only every so many-th centred score is held, with which value each of them is
# of: half the bytes, and a question takes .02 ms more for a reading. Where they are fewer the bytes
# matter less than the time (our choice).
_MANY: Final = 4_000
_BLOCK: Final = 32
# Scores looked for together from which all of them are reckoned (our choice).
_AT_ONCE: Final = 64


class GroupOffsets(Mapping[str, float]):
    """The offset of each vehicle group; not a number where a group has none."""

    def __init__(self, groups: Names, offsets: Floats) -> None:
        self._groups, self._offsets = groups, offsets
        self._size = int(np.isfinite(offsets).sum())

    @override
    def __getitem__(self, group: str) -> float:
        found = float(self._offsets[self._groups[group]])
        if np.isnan(found):
            raise KeyError(group)
        return found

    @override
    def __iter__(self) -> Iterator[str]:
        return (self._groups.names[at] for at in np.flatnonzero(np.isfinite(self._offsets)))

    @override
    def __len__(self) -> int:
        return self._size


class OrderedScores:
    """Scores in order, all but some of them reckoned when one is looked for.

    Parameters
    ----------
    marks : array of float
        Every ``_BLOCK``-th of them.
    order : array of int
        Which value each is of.
    reckoned : callable
        Returns the scores of some values.
    """

    def __init__(self, marks: Floats, order: Places, reckoned: Callable[[Places], Floats]) -> None:
        self._marks, self._order, self._reckoned = marks, order, reckoned
        self._last: tuple[int, Floats] = (-1, marks[:0])

    def __len__(self) -> int:
        """Return how many there are."""
        return len(self._order)

    def __getitem__(self, at: Any) -> Any:
        """Return the scores at some places."""
        return self._reckoned(self._order[at])

    def __array__(self, dtype: DTypeLike | None = None, copy: Any = None) -> NDArray[Any]:
        """Return all of them."""
        return self._reckoned(self._order).astype(dtype or np.float64)

    def searchsorted(self, wanted: Any, side: Side = "left") -> Any:
        """Return where a score, or each of several, would stand."""
        if np.ndim(wanted) == 0:
            return self._place(float(wanted), side)
        if len(wanted) > _AT_ONCE:
            return np.asarray(self).searchsorted(wanted, side=side)
        return np.array([self._place(float(score), side) for score in wanted], np.int64)

    def _place(self, score: float, side: Side) -> int:
        block = int(self._marks.searchsorted(score, side=side)) - 1
        if block < 0:
            return 0
        # The same score is looked for from both sides, and by all who weigh one reading.
        number, scores = self._last
        if number != block:
            scores = self[block * _BLOCK : (block + 1) * _BLOCK]
            self._last = block, scores
        return block * _BLOCK + int(scores.searchsorted(score, side=side))


def _reckoned_by(
    kept: KeptValues, at: int, *, rows: Rows, groups: Places, offsets: Floats
) -> Callable[[Places], Floats]:
    """Return what reckons the centred scores of some values of quantity ``at``.

    ``rows`` holds the case of each value, ``groups`` the number of the vehicle group of each case,
    -1 for none, ``offsets`` those of the groups, not a number for one without a value.
    """
    values, population = kept.of(at), kept.population(at)

    def reckoned(some: Places) -> Floats:
        group = groups[rows[some]]
        moved = offsets[group]
        moved[(group < 0) | np.isnan(moved)] = 0.0
        if len(some) <= _AT_ONCE:
            return normal_scores(values[some], population) - moved
        # What is looked for in order is found faster.
        return normal_scores(values.levels, population)[values.codes[some]] - moved

    return reckoned


def scale_arrays(
    scales: Mapping[str, Scale], groups: Named, *, measures: Postings, values: KeptValues
) -> Arrays:
    """Return scales as arrays.

    Parameters
    ----------
    scales : mapping of str to Scale
        By quantity, in the order of the postings of the quantities.
    groups : Named
        The vehicle group of each case.
    measures : Postings
        The cases by quantity.
    values : KeptValues
        What they read, in that order.
    """
    offsets = np.full((len(scales), len(groups.names)), np.nan)
    number = {name: at for at, name in enumerate(groups.names)}
    centred: list[Floats] = [np.zeros(0)]
    orders: list[Places] = []
    for at, (key, scale) in enumerate(scales.items()):
        for name, offset in scale.offsets.items():
            offsets[at, number[name]] = offset
        rows, codes = measures.of(key), groups.codes
        reckoned = _reckoned_by(values, at, rows=rows, groups=codes, offsets=offsets[at])
        marks, order = _in_short(scale, reckoned)
        centred.append(marks)
        orders.append(order)
    scores = [np.zeros(0, np.float32), *(scale.scores for scale in scales.values())]
    packed, starts = pack_codes(orders)
    return {
        "scores": np.concatenate(scores),
        "offsets": offsets,
        "correlations": np.array([scale.correlation for scale in scales.values()], np.float64),
        "centred": np.concatenate(centred),
        "centred ends": np.cumsum([0, *map(len, centred[1:])]),
        "orders": packed,
        "order ends": starts,
    }


def _in_short(scale: Scale, reckoned: Callable[[Places], Floats]) -> tuple[Floats, Places]:
    """Return the centred scores that are held, and the order of those that are not."""
    none, size = np.zeros(0, np.uint8), len(scale.population)
    if not scale.offsets:
        return np.zeros(0), none
    centred = np.asarray(scale.centred)
    if size >= _MANY:
        scores = reckoned(np.arange(size))
        order = np.argsort(scores, kind="stable")
        if np.array_equal(scores[order], centred):
            return centred[::_BLOCK], order.astype(code_type(size))
    return centred, none


class KeptScales:
    """Scales by quantity, each made of mapped arrays when it is asked for.

    Parameters
    ----------
    arrays : mapping
        As ``scale_arrays`` gave them.
    measures : Postings
        The cases by quantity.
    groups : Named
        The vehicle group of each case.
    values : KeptValues
        What they read.
    """

    def __init__(
        self,
        arrays: Mapping[str, NDArray[Any]],
        measures: Postings,
        *,
        groups: Named,
        values: KeptValues,
    ) -> None:
        self._arrays, self._measures, self._values = arrays, measures, values
        self._codes = groups.codes
        names = groups.names
        self._groups = Names(names if isinstance(names, Texts) else Texts.of(names))

    def of(self, key: str) -> Scale | None:
        """Return the scale of a quantity, None for one that no case has."""
        at = self._measures.keys.get(key)
        if at is None:
            return None
        arrays = self._arrays
        return Scale(
            population=self._values.population(at),
            centred=self._centred(key, at),
            scores=arrays["scores"][self._measures.span(key)],
            offsets=GroupOffsets(self._groups, arrays["offsets"][at]),
            correlation=float(arrays["correlations"][at]),
        )

    def _centred(self, key: str, at: int) -> Sorted:
        first, last = self._arrays["centred ends"][at : at + 2]
        held, rows = self._arrays["centred"][first:last], self._measures.of(key)
        if not len(held):
            return self._values.population(at)
        if len(held) == len(rows):
            return held
        start = int(self._arrays["order ends"][at])
        order = codes_at(self._arrays["orders"], start, size=len(rows), top=len(rows))
        offsets = self._arrays["offsets"][at]
        reckoned = _reckoned_by(self._values, at, rows=rows, groups=self._codes, offsets=offsets)
        return OrderedScores(held, order, reckoned)
