"""A fitted index as a folder of plain arrays, so that a new process need not fit it again.

The folder is derived data: a foreign, old, torn or flipped one is ignored and the index is fitted
from the store. Nothing in it is ever executed: numbers are arrays, words are UTF-8 text. Processes
share its pages, and a word becomes one when it is asked for.
"""

import hashlib
import hmac
import json
import os
from collections.abc import Mapping
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from kb.retrieval.column_arrays import (
    column,
    named,
    named_for,
    pack_column,
    pack_named,
    pack_postings,
    part_of,
    unpack_postings,
)
from kb.retrieval.columns import Names
from kb.retrieval.field_rows import FieldRows
from kb.retrieval.index import CaseIndex
from kb.retrieval.kept_arrays import Arrays, read_kept, write_kept
from kb.retrieval.kept_scales import KeptScales
from kb.retrieval.kept_values import KeptValues
from kb.retrieval.levels import Coded
from kb.retrieval.pages import scattered
from kb.retrieval.spelled import SpelledWords
from kb.retrieval.texts import CaseTexts
from kb.retrieval.worth import COPIES

# Raised when the arrays mean something else than before.
FORMAT: Final = 13
_DIGEST_BYTES: Final = 32
_FURTHER, _WORTH = "further", "worth"
# Of which a question reads a few numbers each.
_VALUES: Final = ("worth levels", "worth codes", "worth orders", "worth centred")


@cache
def code_digest() -> str:
    """Return a digest of the code and the vocabulary that make the index out of jobs."""
    digest = hashlib.sha256()
    room = Path(__file__).resolve().parent.parent
    for part in ("case", "retrieval", "diagnosis", "vocabulary"):
        for path in sorted((room / part).rglob("*")):
            if path.suffix in {".py", ".toml"}:
                digest.update(path.name.encode() + path.read_bytes())
    return digest.hexdigest()


def _pack_texts(arrays: Arrays, name: str, texts: CaseTexts) -> None:
    spelled = texts.spelled
    pack_column(arrays, f"{name} words", texts.words)
    pack_column(arrays, f"{name} pieces", spelled.pieces)
    for part in ("pointers", "rows", "counts", "lengths"):
        arrays[f"{name} piece {part}"] = getattr(spelled, part)
    for part in ("idf", "pointers", "rows", "values"):
        arrays[f"{name} {part}"] = getattr(texts, part)
    arrays[f"{name} cases"] = np.array([texts.n_cases], np.int64)


def _unpack_texts(arrays: Mapping[str, NDArray[Any]], name: str) -> CaseTexts:
    spelled = SpelledWords(
        words=Names(column(arrays, f"{name} words")),
        pieces=Names(column(arrays, f"{name} pieces")),
        pointers=arrays[f"{name} piece pointers"],
        rows=arrays[f"{name} piece rows"],
        counts=arrays[f"{name} piece counts"],
        lengths=arrays[f"{name} piece lengths"],
    )
    return CaseTexts(
        spelled,
        arrays[f"{name} idf"],
        pointers=arrays[f"{name} pointers"],
        rows=arrays[f"{name} rows"],
        values=arrays[f"{name} values"],
        n_cases=int(arrays[f"{name} cases"][0]),
    )


def write_snapshot(
    path: Path,
    stamp: Mapping[str, Any],
    index: CaseIndex,
    *,
    further: Mapping[str, NDArray[Any]] | None = None,
    numbers: Mapping[str, float] | None = None,
    source: Mapping[str, Any] | None = None,
) -> None:
    """Write a fitted index aside and put it in place at once.

    Parameters
    ----------
    path : Path
        The folder.
    stamp : mapping
        With what the index was fitted; ``read_snapshot`` wants the same.
    further : mapping or None
        Further arrays to keep with it, by name.
    numbers : mapping or None
        Fitted numbers to keep with it, by name.
    source : mapping or None
        From what the index was fitted, plain values that JSON can hold.
    """
    arrays = named_for(_WORTH, index.worth_arrays())
    if not arrays:
        arrays["values"] = np.asarray(index.values_)
    weights = Coded.of(np.asarray(index.weights_))
    arrays |= {"case weights": weights.levels, "case weight codes": weights.codes}
    pack_column(arrays, "ids", index.ids_)
    pack_column(arrays, "stated", index.stated_)
    pack_named(arrays, "causes", [cause or None for cause in index.causes_])
    for name in ("standings", "origins", "groups"):
        pack_named(arrays, name, getattr(index, f"{name}_"))
    for name in ("tokens", "labels", "words", "measures"):
        pack_postings(arrays, name, getattr(index, f"{name}_"))
    pack_postings(arrays, "fields", index.fields_.own)
    arrays["fields spans"] = index.fields_.spans
    _pack_texts(arrays, "case", index.texts_)
    arrays |= named_for(_FURTHER, further or {})
    told = {"source": dict(source or {}), "numbers": dict(numbers or {})}
    write_kept(path, arrays, key=key_of(stamp), told=told)
    # Where a fitted index was kept before it was a folder.
    path.with_name(f"{path.name}.npz").unlink(missing_ok=True)


def key_of(stamp: Mapping[str, Any]) -> str:
    """Return what a file made from ``stamp`` by this very code is held against."""
    return json.dumps({"format": FORMAT, "code": code_digest(), **stamp}, sort_keys=True)


def write_arrays(path: Path, arrays: Arrays, *, key: str) -> None:
    """Write arrays with a digest over them and ``key`` aside, and put the file in place at once."""
    stream = BytesIO()
    np.savez(stream, allow_pickle=False, **arrays)
    body = stream.getvalue()
    aside = path.with_name(f"{path.name}.{os.getpid()}")
    try:
        aside.write_bytes(_digest(body, key) + body)
    except OSError:
        # Half a file would take the room that is missing.
        aside.unlink(missing_ok=True)
        raise
    aside.replace(path)


def _digest(body: bytes, key: str) -> bytes:
    secret = hashlib.blake2b(key.encode()).digest()
    return hashlib.blake2b(body, digest_size=_DIGEST_BYTES, key=secret).digest()


def read_arrays(path: Path, *, key: str) -> Arrays | None:
    """Return the arrays of a file, None where it is missing, torn, flipped or made for another key.

    The whole file is held against its digest before anything in it is read: what another shop, an
    older state or a hostile hand left there is never unpacked.
    """
    try:
        content = path.read_bytes()
    except OSError:
        return None
    digest, body = content[:_DIGEST_BYTES], content[_DIGEST_BYTES:]
    if not hmac.compare_digest(digest, _digest(body, key)):
        return None
    with np.load(BytesIO(body), allow_pickle=False) as arrays:
        return dict(arrays)


class Kept(NamedTuple):
    """What a folder keeps: the fitted index and from what, further arrays and numbers by name."""

    cases: CaseIndex
    further: Arrays
    numbers: dict[str, float]
    source: dict[str, Any]


def read_snapshot(path: Path, stamp: Mapping[str, Any]) -> Kept | None:
    """Return the index that was fitted with what ``stamp`` names, None where there is none."""
    found = read_kept(path, key=key_of(stamp))
    if found is None:
        return None
    arrays, told = found
    return Kept(_index(arrays), part_of(arrays, _FURTHER), told["numbers"], told["source"])


def _index(arrays: Mapping[str, NDArray[Any]]) -> CaseIndex:
    for name in ("ids", "ids ends", "stated", "stated ends", *_VALUES):
        if name in arrays:
            scattered(arrays[name])
    index = CaseIndex()
    index.ids_, index.stated_ = column(arrays, "ids"), column(arrays, "stated")
    index.causes_, index.standings_ = named(arrays, "causes"), named(arrays, "standings")
    index.origins_ = named(arrays, "origins")
    index.groups_ = groups = named(arrays, "groups")
    index.weights_ = Coded(arrays["case weights"], arrays["case weight codes"])
    index.tokens_ = unpack_postings(arrays, "tokens")
    own = unpack_postings(arrays, "fields")
    index.fields_ = FieldRows(index.tokens_, arrays["fields spans"], own)
    index.labels_ = unpack_postings(arrays, "labels")
    index.words_ = unpack_postings(arrays, "words")
    index.measures_ = unpack_postings(arrays, "measures")
    index.texts_ = _unpack_texts(arrays, "case")
    worth = part_of(arrays, _WORTH)
    if worth:
        index.kept_copies_ = worth[COPIES]
        index.values_ = values = KeptValues(worth, index.measures_)
        index.kept_scales_ = KeptScales(worth, index.measures_, groups=groups, values=values)
    else:
        index.values_ = arrays["values"]
    return index
