"""Our score as SQL in DuckDB: shares no scoring code with us, so it is the oracle as well.

Its tables are our posting lists. A question brings the words that it stands for with their
weights, what each of its tokens counts in agreement and in conflict, and its readings as normal
scores with their correlations; all else is SQL.
"""

import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import duckdb
import numpy as np
from numpy.typing import NDArray

from kb.retrieval.asked import top_rows
from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import CaseIndex
from kb.retrieval.postings import Postings
from kb.retrieval.similarity import TEXT_SHARE
from tests.benchmarks.scale_peers import TOP

# How far two sums of some thirty parts may differ by their rounding, in nats (our choice).
TOLERANCE: Final = 1e-4
_NONE: Final = np.zeros(0, np.int64)

_TABLES: Final = {
    "word_posting": "word, row, value",
    "token_posting": "token, row",
    "field_posting": "field, row",
    "reading_posting": "quantity, row, score",
}
_SCORE: Final = f"""
WITH
word AS (SELECT unnest($words) AS word, unnest($word_nats) AS nats),
token AS (
  SELECT unnest($tokens) AS token, unnest($token_fields) AS field, unnest($token_nats) AS nats),
field AS (SELECT unnest($fields) AS field, unnest($field_nats) AS nats),
reading AS (
  SELECT unnest($quantities) AS quantity, unnest($scores) AS x, unnest($correlations) AS r),
agreeing AS (
  SELECT p.row, t.field, t.nats FROM token_posting p JOIN token t USING (token)),
part AS (
  SELECT p.row, p.value * w.nats AS nats FROM word_posting p JOIN word w USING (word)
  UNION ALL
  SELECT row, nats FROM agreeing
  UNION ALL
  SELECT p.row, f.nats FROM field_posting p JOIN field f USING (field)
  ANTI JOIN agreeing a ON a.row = p.row AND a.field = p.field
  UNION ALL
  SELECT p.row, -ln(1 - r * r) / 2
    - (r * r * (x * x + p.score * p.score) - 2 * r * x * p.score) / (2 * (1 - r * r))
  FROM reading_posting p JOIN reading USING (quantity)
)
SELECT row, sum(nats) AS total FROM part GROUP BY row ORDER BY total DESC, row LIMIT {TOP}
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Engine:
    """An engine that holds our posting lists; ``size`` in bytes."""

    index: CaseIndex
    base: Any
    size: int

    def best(self, asked: dict[str, Any]) -> list[tuple[int, float]]:
        """Return the best rows with their scores, best first."""
        found: list[tuple[int, float]] = self.base.execute(_SCORE, asked).fetchall()
        return found


@contextmanager
def by_duckdb(index: CaseIndex, *, threads: int = 1) -> Iterator[Engine]:
    """DuckDB over our posting lists, in a file."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "postings.duckdb"
        with duckdb.connect(str(path)) as base:
            base.execute(f"SET threads TO {threads}")
            for (name, columns), arrays in zip(_TABLES.items(), _arrays(index), strict=True):
                base.register("given", dict(zip(columns.split(", "), arrays, strict=True)))
                base.execute(f"CREATE TABLE {name} AS SELECT {columns} FROM given")
                base.unregister("given")
            base.execute("CHECKPOINT")
            yield Engine(index=index, base=base, size=path.stat().st_size)


def _numbered(postings: Postings) -> NDArray[np.int32]:
    """Return for each posting the number of its key."""
    return np.repeat(np.arange(len(postings.keys), dtype=np.int32), np.diff(postings.pointers))


def _arrays(index: CaseIndex) -> Iterator[tuple[NDArray[Any], ...]]:
    """Yield the columns of each table."""
    texts = index.texts_
    words = np.arange(len(texts.words), dtype=np.int32)
    yield np.repeat(words, np.diff(texts.pointers)), texts.rows, texts.values
    for postings in (index.tokens_, index.fields_.plain()):
        yield _numbered(postings), postings.rows
    scores = np.empty(len(index.values_), np.float32)
    for key in index.measures_.keys:
        usable = index.scale(key).usable
        scores[index.measures_.span(key)] = index.reading_scores(key) if usable else np.nan
    yield _numbered(index.measures_), index.measures_.rows, scores


def asked_of(index: CaseIndex, query: CaseFeatures) -> dict[str, Any]:
    """Return what a question brings to the engine."""
    ids, weights = index.words_of(query).summed()
    nats = weights.astype(np.float64) * index.text_weight * TEXT_SHARE
    known = [token for token in query.tokens if token.key in index.tokens_.keys]
    fields = {t.field: t for t in reversed(query.tokens) if t.field in index.fields_.keys}
    read = [
        (index.measures_.keys[row.key], index.scale(row.key), row.value)
        for row in query.measures
        if row.key in index.measures_.keys and index.scale(row.key).usable
    ]
    return {
        "words": ids.tolist(),
        "word_nats": nats.tolist(),
        "tokens": [index.tokens_.keys[token.key] for token in known],
        "token_fields": [index.fields_.keys[token.field] for token in known],
        "token_nats": [index.agreement(token) for token in known],
        "fields": [index.fields_.keys[field] for field in fields],
        "field_nats": [index.conflict(token) for token in fields.values()],
        "quantities": [number for number, _, _ in read],
        "scores": [scale.score(value, query.group) for _, scale, value in read],
        "correlations": [scale.correlation for _, scale, _ in read],
    }


def assert_agrees(index: CaseIndex, query: CaseFeatures, best: list[tuple[int, float]]) -> None:
    """Assert that these are our best cases too, with our scores; contrary facts are left out.

    Cases whose scores differ by rounding alone may stand in for one another.
    """
    words = index.words_of(query)
    ours = index.asked(query, words, index.text_evidence(words), near=_NONE).scores
    rows = np.array([row for row, _ in best], np.int64)
    theirs = np.array([score for _, score in best])
    assert len(rows) == len({*rows.tolist()}) == min(TOP, len(ours))
    apart = np.abs(ours[rows] - theirs).max()
    assert apart <= TOLERANCE, f"expected equal scores of one case, got {apart} nats between them"
    apart = np.abs(ours[top_rows(ours, TOP)] - theirs).max()
    assert apart <= TOLERANCE, f"expected the same best cases, got {apart} nats between scores"
