"""A fitted index as a folder of plain arrays, so that a new process need not fit it again.

The folder is derived data: a foreign, old, torn or flipped one is ignored and the index is fitted
from the store. Nothing in it is ever executed: numbers are arrays, words are UTF-8 text. Processes
share its pages, and a word becomes one when it is asked for.
"""

import hashlib
import hmac
import json
import os
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from kb.retrieval.columns import Named, Names, Texts
from kb.retrieval.index import CaseIndex
from kb.retrieval.kept_arrays import Arrays, read_kept, write_kept
from kb.retrieval.learn import ANALYZERS
from kb.retrieval.postings import Postings
from kb.retrieval.spelled import SpelledWords
from kb.retrieval.texts import CaseTexts
from kb.retrieval.vectors import TextSpace

# Raised when the arrays mean something else than before.
FORMAT: Final = 9
_SEPARATOR: Final = "\x1e"
_DIGEST_BYTES: Final = 32


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


def _pack_column(arrays: Arrays, name: str, texts: Iterable[str]) -> None:
    made = texts if isinstance(texts, Texts) else Texts.of(texts)
    arrays[name], arrays[f"{name} ends"] = made.letters, made.ends


def _column(arrays: Mapping[str, NDArray[Any]], name: str) -> Texts:
    return Texts(arrays[name], arrays[f"{name} ends"])


def _pack_named(arrays: Arrays, name: str, values: Sequence[str | None]) -> None:
    made = values if isinstance(values, Named) else Named.of(values)
    arrays[f"{name} codes"] = made.codes
    _pack_column(arrays, f"{name} names", made.names)


def _named(arrays: Mapping[str, NDArray[Any]], name: str) -> Any:
    return Named(_column(arrays, f"{name} names"), arrays[f"{name} codes"])


def _pack_postings(arrays: Arrays, name: str, postings: Postings) -> None:
    _pack_column(arrays, f"{name} keys", postings.keys)
    arrays[f"{name} pointers"], arrays[f"{name} rows"] = postings.pointers, postings.rows


def _unpack_postings(arrays: Mapping[str, NDArray[Any]], name: str) -> Postings:
    keys = Names(_column(arrays, f"{name} keys"))
    return Postings(keys, arrays[f"{name} pointers"], arrays[f"{name} rows"])


def _pack_space(arrays: Arrays, name: str, space: TextSpace) -> None:
    pack(arrays, f"{name} terms", list(space.terms_))
    arrays[f"{name} idf"] = space.idf_
    arrays[f"{name} pointers"] = space.postings_.indptr
    arrays[f"{name} rows"] = space.postings_.indices
    arrays[f"{name} weights"] = space.postings_.data
    arrays[f"{name} shape"] = np.array(space.postings_.shape, np.int64)


def _unpack_space(arrays: Mapping[str, NDArray[Any]], name: str) -> TextSpace:
    space = TextSpace(ANALYZERS[name.rpartition(" ")[2]])
    space.terms_ = {term: at for at, term in enumerate(unpack(arrays, f"{name} terms"))}
    space.idf_ = arrays[f"{name} idf"]
    parts = tuple(arrays[f"{name} {part}"] for part in ("weights", "rows", "pointers"))
    space.postings_ = sparse.csr_array(parts, shape=tuple(arrays[f"{name} shape"]))
    return space


def _pack_texts(arrays: Arrays, name: str, texts: CaseTexts) -> None:
    spelled = texts.spelled
    _pack_column(arrays, f"{name} words", texts.words)
    _pack_column(arrays, f"{name} pieces", spelled.pieces)
    for part in ("pointers", "rows", "counts", "lengths"):
        arrays[f"{name} piece {part}"] = getattr(spelled, part)
    for part in ("idf", "pointers", "rows", "values"):
        arrays[f"{name} {part}"] = getattr(texts, part)
    arrays[f"{name} cases"] = np.array([texts.n_cases], np.int64)


def _unpack_texts(arrays: Mapping[str, NDArray[Any]], name: str) -> CaseTexts:
    spelled = SpelledWords(
        words=Names(_column(arrays, f"{name} words")),
        pieces=Names(_column(arrays, f"{name} pieces")),
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
    spaces: Mapping[str, TextSpace],
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
    spaces : mapping
        Further text spaces to keep with it, by a name that ends in the analyzer's name.
    numbers : mapping or None
        Fitted numbers to keep with it, by name.
    source : mapping or None
        From what the index was fitted, plain values that JSON can hold.
    """
    arrays: Arrays = {"values": index.values_, "case weights": index.weights_}
    _pack_column(arrays, "ids", index.ids_)
    _pack_column(arrays, "stated", index.stated_)
    _pack_named(arrays, "causes", [cause or None for cause in index.causes_])
    for name in ("standings", "origins", "groups"):
        _pack_named(arrays, name, getattr(index, f"{name}_"))
    for name in ("fields", "tokens", "labels", "words", "measures"):
        _pack_postings(arrays, name, getattr(index, f"{name}_"))
    _pack_texts(arrays, "case", index.texts_)
    for name, space in spaces.items():
        _pack_space(arrays, f"cause {name}", space)
    told = {"spaces": list(spaces), "source": dict(source or {}), "numbers": dict(numbers or {})}
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
    """What a folder keeps: the fitted index and from what, more text spaces and numbers by name."""

    cases: CaseIndex
    spaces: dict[str, TextSpace]
    numbers: dict[str, float]
    source: dict[str, Any]


def read_snapshot(path: Path, stamp: Mapping[str, Any]) -> Kept | None:
    """Return the index that was fitted with what ``stamp`` names, None where there is none."""
    found = read_kept(path, key=key_of(stamp))
    if found is None:
        return None
    arrays, told = found
    spaces = {name: _unpack_space(arrays, f"cause {name}") for name in told["spaces"]}
    return Kept(_index(arrays), spaces, told["numbers"], told["source"])


def _index(arrays: Mapping[str, NDArray[Any]]) -> CaseIndex:
    index = CaseIndex()
    index.ids_, index.stated_ = _column(arrays, "ids"), _column(arrays, "stated")
    index.causes_, index.standings_ = _named(arrays, "causes"), _named(arrays, "standings")
    index.origins_, index.groups_ = _named(arrays, "origins"), _named(arrays, "groups")
    index.values_, index.weights_ = arrays["values"], arrays["case weights"]
    index.fields_ = _unpack_postings(arrays, "fields")
    index.tokens_ = _unpack_postings(arrays, "tokens")
    index.labels_ = _unpack_postings(arrays, "labels")
    index.words_ = _unpack_postings(arrays, "words")
    index.measures_ = _unpack_postings(arrays, "measures")
    index.texts_ = _unpack_texts(arrays, "case")
    return index
