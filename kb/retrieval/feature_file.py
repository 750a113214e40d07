"""The features of all cases as one file of plain arrays, so that no case is read twice."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from numpy.typing import NDArray

from kb.retrieval.feature_lists import Lists
from kb.retrieval.feature_table import LISTS, PLAIN, FeatureTable
from kb.retrieval.snapshot import Arrays, key_of, pack, read_arrays, unpack, write_arrays

_KIND: Final = "features"


def write_features(path: Path, table: FeatureTable, stamp: Mapping[str, Any]) -> None:
    """Keep features in a file that ``read_features`` gives back to the last bit.

    ``stamp`` names with what they were made; the code itself is held against as well.
    """
    arrays: Arrays = {"weights": table.weights}
    for name in PLAIN:
        pack(arrays, name, [value or "" for value in getattr(table, name)])
    for name in LISTS:
        _pack_lists(arrays, name, getattr(table, name))
    write_arrays(path, arrays, key=f"{_KIND} {key_of(stamp)}")


def read_features(path: Path, stamp: Mapping[str, Any]) -> FeatureTable | None:
    """Return the features of a file, None where there is none that was made with ``stamp``."""
    arrays = read_arrays(path, key=f"{_KIND} {key_of(stamp)}")
    if arrays is None:
        return None
    plain: dict[str, Any] = {name: tuple(unpack(arrays, name)) for name in PLAIN}
    plain["causes"] = tuple(cause or None for cause in plain["causes"])
    plain |= {name: _unpack_lists(arrays, name) for name in LISTS}
    return FeatureTable(**plain, weights=arrays["weights"])


def _pack_lists(arrays: Arrays, name: str, lists: Lists) -> None:
    pack(arrays, f"{name} names", lists.names)
    arrays[f"{name} ends"], arrays[f"{name} ids"] = lists.ends, lists.ids
    arrays[f"{name} values"] = lists.values


def _unpack_lists(arrays: Mapping[str, NDArray[Any]], name: str) -> Lists:
    return Lists(
        tuple(unpack(arrays, f"{name} names")),
        arrays[f"{name} ends"],
        arrays[f"{name} ids"],
        arrays[f"{name} values"],
    )
