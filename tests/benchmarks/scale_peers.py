"""Plain libraries that find the texts nearest to a question, each in a thread of its own.

All get the same words. Each is a context manager over the stored texts; what it gives answers one
question with the numbers of the best texts, best first, and says how many bytes it keeps. None is
tuned: numbers are the libraries' defaults.
"""

import sqlite3
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from functools import partial
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import bm25s
import numpy as np
import tantivy
from sklearn.feature_extraction.text import TfidfVectorizer
from sklearn.neighbors import NearestNeighbors

from kb.retrieval.analyzer import told_words

TOP = 50


@dataclass(frozen=True, slots=True, kw_only=True)
class Built:
    """An engine that holds the texts; ``size`` in bytes."""

    ask: Callable[[str], Sequence[int]]
    size: int


TextPeer = Callable[[Sequence[str]], AbstractContextManager[Built]]


def plain_words(text: str) -> list[str]:
    """Return the words of a text, without those that a word before them turns."""
    return [word for word in told_words(text) if " " not in word]


def bytes_of(thing: Any, seen: set[int] | None = None) -> int:
    """Return the bytes of an object and of all that it holds, each counted once.

    A view of an array counts as the array.
    """
    seen = set() if seen is None else seen
    if id(thing) in seen or isinstance(thing, type) or callable(thing):
        return 0
    seen.add(id(thing))
    if isinstance(thing, np.ndarray):
        owner = thing.base
        return bytes_of(owner, seen) if isinstance(owner, np.ndarray) else int(thing.nbytes)
    size = sys.getsizeof(thing)
    if isinstance(thing, str | bytes | int | float):
        return size
    return size + sum(bytes_of(part, seen) for part in _held(thing))


def _held(thing: Any) -> Iterator[Any]:
    if isinstance(thing, Mapping):
        yield from thing
        yield from thing.values()
    elif isinstance(thing, list | tuple | set | frozenset):
        yield from thing
    else:
        yield from getattr(thing, "__dict__", {}).values()
        for kind in type(thing).__mro__:
            names = getattr(kind, "__slots__", ())
            yield from (getattr(thing, name) for name in names if hasattr(thing, name))


def folder_size(folder: Path) -> int:
    """Return the bytes of all files in a folder."""
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


@contextmanager
def by_bm25s(texts: Sequence[str], *, backend: str) -> Iterator[Built]:
    """BM25 in arrays."""
    index = bm25s.BM25(backend=backend)
    index.index([plain_words(text) for text in texts], show_progress=False)

    def ask(text: str) -> list[int]:
        words = [word for word in plain_words(text) if word in index.vocab_dict]
        if not words:
            return []
        found, scores = index.retrieve(
            [words], k=min(TOP, len(texts)), show_progress=False, n_threads=0
        )
        rows: list[int] = found[0][scores[0] > 0].tolist()
        return rows

    yield Built(ask=ask, size=bytes_of([index.scores, index.vocab_dict]))


@contextmanager
def by_tantivy(texts: Sequence[str]) -> Iterator[Built]:
    """A full-text engine with files of its own."""
    schema = tantivy.SchemaBuilder()
    schema.add_text_field("told", stored=False)
    schema.add_integer_field("row", stored=False, fast=True, indexed=False)
    with tempfile.TemporaryDirectory() as folder:
        index = tantivy.Index(schema.build(), path=folder)
        writer = index.writer(num_threads=1)
        for row, text in enumerate(texts):
            writer.add_document(tantivy.Document(told=text, row=row))
        writer.commit()
        writer.wait_merging_threads()
        index.reload()
        searcher = index.searcher()
        wanted = tantivy.Occur.Should

        def ask(text: str) -> list[int]:
            terms = [
                (wanted, tantivy.Query.term_query(index.schema, "told", word))
                for word in plain_words(text)
            ]
            found = searcher.search(tantivy.Query.boolean_query(terms), TOP, count=False)
            places = [place for _, place in found.hits]
            return [int(row or 0) for row in searcher.fast_field_values("row", places)]

        yield Built(ask=ask, size=folder_size(Path(folder)))


@contextmanager
def by_fts5(texts: Sequence[str]) -> Iterator[Built]:
    """SQLite's own full-text index, the texts themselves not kept."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "texts.db"
        base = sqlite3.connect(path)
        base.execute("CREATE VIRTUAL TABLE stored USING fts5(told, content='')")
        base.executemany("INSERT INTO stored(rowid, told) VALUES (?, ?)", enumerate(texts))
        base.execute("INSERT INTO stored(stored) VALUES ('optimize')")
        base.commit()
        find = f"SELECT rowid FROM stored WHERE stored MATCH ? ORDER BY rank LIMIT {TOP}"

        def ask(text: str) -> list[int]:
            words = " OR ".join(f'"{word}"' for word in plain_words(text))
            return [row for (row,) in base.execute(find, (words,))] if words else []

        yield Built(ask=ask, size=path.stat().st_size)
        base.close()


@contextmanager
def by_neighbors(texts: Sequence[str]) -> Iterator[Built]:
    """Cosines of TF-IDF with every text in turn."""
    space = TfidfVectorizer()
    rows = space.fit_transform(texts)
    nearest = NearestNeighbors(
        algorithm="brute", metric="cosine", n_neighbors=min(TOP, len(texts)), n_jobs=1
    ).fit(rows)

    def ask(text: str) -> list[int]:
        told = space.transform([text])
        if not told.nnz:
            return []
        far, found = nearest.kneighbors(told)
        best: list[int] = found[0][far[0] < 1].tolist()
        return best

    held = [rows.data, rows.indices, rows.indptr, space.vocabulary_]
    yield Built(ask=ask, size=bytes_of(held))


TEXT_PEERS: dict[str, TextPeer] = {
    "bm25s numpy": partial(by_bm25s, backend="numpy"),
    **({"bm25s numba": partial(by_bm25s, backend="numba")} if find_spec("numba") else {}),
    "tantivy": by_tantivy,
    "SQLite FTS5": by_fts5,
    "scikit-learn brute": by_neighbors,
}
