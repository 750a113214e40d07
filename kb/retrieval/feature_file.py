"""The features of some cases as one file of plain arrays, so that no case is read twice."""

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from kb.retrieval.column_arrays import pack, unpack
from kb.retrieval.feature_lists import Lists
from kb.retrieval.feature_table import LISTS, PLAIN, FeatureTable
from kb.retrieval.kept_arrays import Arrays
from kb.retrieval.mapped_file import MappedFile, write_mapped
from kb.retrieval.snapshot import key_of

_KIND: Final = "features"
# What a cause's words are read from: cause, what came in, what was found.
Told = tuple[str | None, str, str]


class FeatureFile:
    """The features of some cases in a file that was held against its digest."""

    def __init__(self, path: Path, arrays: MappedFile) -> None:
        self.path = path
        self._arrays = arrays
        self.cases = self._plain("cases")
        self.marks = self._plain("marks")

    @classmethod
    def opened(cls, path: Path, stamp: Mapping[str, Any]) -> "FeatureFile | None":
        """Return what a file holds, None where it is none that was made with ``stamp``."""
        arrays = MappedFile.opened(path, key=f"{_KIND} {key_of(stamp)}")
        return None if arrays is None else cls(path, arrays)

    def __len__(self) -> int:
        """Return the number of cases."""
        return len(self.cases)

    def _plain(self, name: str) -> tuple[str, ...]:
        return tuple(unpack(self._arrays, name))

    def _causes(self) -> tuple[str | None, ...]:
        return tuple(cause or None for cause in unpack(self._arrays, "causes"))

    def table(self) -> FeatureTable:
        """Return the features."""
        plain: dict[str, Any] = {name: self._plain(name) for name in PLAIN}
        plain["causes"] = self._causes()
        plain |= {name: _unpack_lists(self._arrays, name) for name in LISTS}
        return FeatureTable(**plain, weights=self._arrays["weights"])

    def cause_texts(self) -> Iterator[Told]:
        """Yield what the words of a cause are read from, case by case."""
        yield from zip(self._causes(), self._plain("said"), self._plain("told"), strict=True)

    def let_go(self) -> None:
        """Give back the memory that was read."""
        self._arrays.let_go()


def write_features(path: Path, table: FeatureTable, stamp: Mapping[str, Any]) -> None:
    """Keep features in a file that gives them back to the last bit.

    ``stamp`` names with what they were made; the code itself is held against as well.
    """
    arrays: Arrays = {"weights": table.weights}
    for name in PLAIN:
        pack(arrays, name, [value or "" for value in getattr(table, name)])
    for name in LISTS:
        _pack_lists(arrays, name, getattr(table, name))
    write_mapped(path, arrays, key=f"{_KIND} {key_of(stamp)}")


def _pack_lists(arrays: Arrays, name: str, lists: Lists) -> None:
    pack(arrays, f"{name} names", lists.names)
    arrays[f"{name} ends"], arrays[f"{name} ids"] = lists.ends, lists.ids
    arrays[f"{name} values"] = lists.values


def _unpack_lists(arrays: Mapping[str, NDArray[Any]], name: str) -> Lists:
    return Lists(
        tuple(unpack(arrays, f"{name} names")),
        arrays[f"{name} ends"].astype(np.int64, copy=False),
        arrays[f"{name} ids"],
        arrays[f"{name} values"],
    )
