"""Columns of words and posting lists as named arrays, and back without making a word of them."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from kb.retrieval.columns import Named, Names, Texts
from kb.retrieval.kept_arrays import Arrays
from kb.retrieval.postings import Postings

_SEPARATOR: Final = "\x1e"


def pack(arrays: Arrays, name: str, texts: Any) -> None:
    """Put words under ``name``: one array of UTF-8 bytes and their count."""
    joined = _SEPARATOR.join(text.replace(_SEPARATOR, " ") for text in texts)
    arrays[name] = np.frombuffer(joined.encode("utf-8", "replace"), np.uint8)
    arrays[f"{name} count"] = np.array([len(texts)], np.int64)


def unpack(arrays: Mapping[str, NDArray[Any]], name: str) -> list[str]:
    """Return the words that ``pack`` put under ``name``."""
    if int(arrays[f"{name} count"][0]) == 0:
        return []
    return arrays[name].tobytes().decode("utf-8").split(_SEPARATOR)


def pack_column(arrays: Arrays, name: str, texts: Iterable[str]) -> None:
    """Put a column of words under ``name``."""
    made = texts if isinstance(texts, Texts) else Texts.of(texts)
    arrays[name], arrays[f"{name} ends"] = made.letters, made.ends


def column(arrays: Mapping[str, NDArray[Any]], name: str) -> Texts:
    """Return the column that ``pack_column`` put under ``name``."""
    return Texts(arrays[name], arrays[f"{name} ends"])


def pack_named(arrays: Arrays, name: str, values: Sequence[str | None]) -> None:
    """Put a column with few different words under ``name``."""
    made = values if isinstance(values, Named) else Named.of(values)
    arrays[f"{name} codes"] = made.codes
    pack_column(arrays, f"{name} names", made.names)


def named(arrays: Mapping[str, NDArray[Any]], name: str) -> Any:
    """Return the column that ``pack_named`` put under ``name``."""
    return Named(column(arrays, f"{name} names"), arrays[f"{name} codes"])


def pack_postings(arrays: Arrays, name: str, postings: Postings) -> None:
    """Put rows by key, whose keys are in order, under ``name``."""
    pack_column(arrays, f"{name} keys", postings.keys)
    arrays[f"{name} pointers"], arrays[f"{name} rows"] = postings.pointers, postings.rows


def unpack_postings(arrays: Mapping[str, NDArray[Any]], name: str) -> Postings:
    """Return the rows by key that ``pack_postings`` put under ``name``."""
    keys = Names(column(arrays, f"{name} keys"))
    return Postings(keys, arrays[f"{name} pointers"], arrays[f"{name} rows"])


def part_of(arrays: Mapping[str, NDArray[Any]], whose: str) -> Arrays:
    """Return the arrays that ``named_for`` named, under the names they had before."""
    start = f"{whose} "
    return {name[len(start) :]: row for name, row in arrays.items() if name.startswith(start)}


def named_for(whose: str, arrays: Mapping[str, NDArray[Any]]) -> Arrays:
    """Return arrays under names that begin with whose they are.

    Examples
    --------
    >>> part_of(named_for("words", {"ends": np.zeros(2)}), "words")
    {'ends': array([0., 0.])}
    """
    return {f"{whose} {name}": row for name, row in arrays.items()}
