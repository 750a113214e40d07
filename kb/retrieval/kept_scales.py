"""The scales of all quantities as arrays, so that none is fitted again by a new process."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from typing_extensions import override

from kb.retrieval.columns import Names, Texts
from kb.retrieval.kept_arrays import Arrays
from kb.retrieval.moments import Scale
from kb.retrieval.postings import Postings

Floats = NDArray[np.float64]

_BY_VALUE: Final = ("population", "centred", "scores")
_KIND: Final = {"scores": np.float32}


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


def scale_arrays(scales: Mapping[str, Scale], groups: Sequence[str]) -> Arrays:
    """Return scales as arrays.

    Parameters
    ----------
    scales : mapping of str to Scale
        By quantity, in the order of the postings of the quantities.
    groups : sequence of str
        The names of all vehicle groups, in order.
    """
    offsets = np.full((len(scales), len(groups)), np.nan)
    number = {name: at for at, name in enumerate(groups)}
    for row, scale in zip(offsets, scales.values(), strict=True):
        for name, offset in scale.offsets.items():
            row[number[name]] = offset
    none = np.zeros(0)
    arrays: Arrays = {
        name: np.concatenate(
            [none, *(getattr(scale, name) for scale in scales.values())], dtype=_KIND.get(name)
        )
        for name in _BY_VALUE
    }
    correlations = np.array([scale.correlation for scale in scales.values()], np.float64)
    return arrays | {"offsets": offsets, "correlations": correlations}


class KeptScales:
    """Scales by quantity, each made of mapped arrays when it is asked for.

    Parameters
    ----------
    arrays : mapping
        As ``scale_arrays`` gave them.
    measures : Postings
        The cases by quantity.
    groups : Texts
        The names of all vehicle groups, in order.
    """

    def __init__(
        self, arrays: Mapping[str, NDArray[Any]], measures: Postings, groups: Texts
    ) -> None:
        self._arrays, self._measures, self._groups = arrays, measures, Names(groups)

    def of(self, key: str) -> Scale | None:
        """Return the scale of a quantity, None for one that no case has."""
        at = self._measures.keys.get(key)
        if at is None:
            return None
        span, arrays = self._measures.span(key), self._arrays
        population, centred, scores = (arrays[name][span] for name in _BY_VALUE)
        return Scale(
            population=population,
            centred=centred,
            scores=scores,
            offsets=GroupOffsets(self._groups, arrays["offsets"][at]),
            correlation=float(arrays["correlations"][at]),
        )
