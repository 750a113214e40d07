"""LanceDB's hybrid search, where it is installed: another score, over words and readings.

The readings of a case are one vector of normal scores, 0 where there is none; the two rankings are
fused by the library's default.
"""

import os
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import CaseIndex
from tests.benchmarks.scale_peers import TOP, folder_size

# Over 400 MB with all that it needs: not among the extras.
INSTALLED = find_spec("lancedb") is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Engine:
    """A table of texts and vectors; ``size`` in bytes."""

    table: Any
    size: int

    def best(self, asked: tuple[str, NDArray[np.float32]]) -> list[int]:
        """Return the best rows, best first."""
        words, readings = asked
        search = self.table.search(query_type="hybrid").vector(readings).text(words)
        rows: list[int] = search.select(["row"]).limit(TOP).to_arrow()["row"].to_pylist()
        return rows


@contextmanager
def by_lancedb(index: CaseIndex, texts: Sequence[str]) -> Iterator[Engine]:
    """Texts and readings in a folder of its own; ``texts`` in the order of the index."""
    # Read when the library is loaded: one thread, and no word about columns that it adds by itself.
    os.environ.update(LANCE_CPU_THREADS="1", LANCEDB_LOG="error")
    import lancedb.index  # noqa: PLC0415 - may not be there
    import pyarrow  # noqa: PLC0415 - comes with it

    with tempfile.TemporaryDirectory() as folder:
        readings = _stored_readings(index)
        columns = {
            "row": pyarrow.array(range(len(index)), pyarrow.int32()),
            "told": pyarrow.array(texts),
            "readings": pyarrow.FixedSizeListArray.from_arrays(
                pyarrow.array(readings.ravel()), readings.shape[1]
            ),
        }
        table = lancedb.connect(folder).create_table("cases", pyarrow.table(columns))
        words = lancedb.index.FTS(stem=False, remove_stop_words=False)
        table.create_index("told", config=words)
        yield Engine(table=table, size=folder_size(Path(folder)))


def _stored_readings(index: CaseIndex) -> NDArray[np.float32]:
    keys = index.measures_.keys
    made = np.zeros((len(index), len(keys)), np.float32)
    for key, at in keys.items():
        if index.scale(key).usable:
            made[index.measures_.of(key), at] = index.reading_scores(key)
    return made


def asked_of(index: CaseIndex, query: CaseFeatures) -> tuple[str, NDArray[np.float32]]:
    """Return the words and the readings of a question."""
    keys = index.measures_.keys
    made = np.zeros(len(keys), np.float32)
    for row in query.measures:
        if row.key in keys and index.scale(row.key).usable:
            made[keys[row.key]] = index.scale(row.key).score(row.value, query.group)
    return query.said, made
