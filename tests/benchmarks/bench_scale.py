"""What an answer costs as cases grow, ours beside plain libraries, in one table.

Run: ``python -m tests.benchmarks.bench_scale --cases 10000 100000 [--queries 100] [--chart FILE]``.
Needs ``pip install -e '.[bench]'``; 100,000 cases took 1.5 GB and three minutes. Compare within one run.
"""

import argparse
import os
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import Any, Final

from threadpoolctl import threadpool_limits

from kb.retrieval.asked import top_rows
from kb.retrieval.feature_table import FeatureTable
from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import CaseIndex
from tests.benchmarks import scale_lance
from tests.benchmarks.scale_cases import World
from tests.benchmarks.scale_chart import chart
from tests.benchmarks.scale_peers import TEXT_PEERS, TOP, bytes_of
from tests.benchmarks.scale_sql import TOLERANCE, asked_of, assert_agrees, by_duckdb
from tests.benchmarks.scale_table import (
    HEAD,
    MOST_SECONDS,
    PASSES,
    Course,
    Row,
    Spent,
    milliseconds,
)

SHOWN: Final = 10

LANCE: Final = "" if scale_lance.INSTALLED else "; not installed here"
ABOUT: Final = f"""\
One thread. Each question counts by the best of {PASSES} passes, after one that is not timed, so that
what is reckoned once an index is there already. ratio: p50 of ours above it over p50 of this one;
below 1 ours is faster. A dash: left out, as it would take over {MOST_SECONDS} s by the size before.
text: the {TOP} best by the words alone; what came in and what was found is one text to the others. They
count equal words by BM25, or cosines of TF-IDF; ours also counts words that are spelled alike.
whole: words, tokens, readings and contrary facts; ours gives the {SHOWN} best with their reasons.
DuckDB: the same score in SQL over our posting lists, the {TOP} best without reasons and without the
contrary facts; it is given what each word and token weighs. Every answer of it was held against
ours, also without contrary facts: the same cases, scores within {TOLERANCE:g}.
LanceDB: words and readings alone, fused by rank, another score{LANCE}.
ours: each word of a question is looked up anew; "seen": all words of it were asked before.
bytes: of what is kept in memory, or in the engine's files, by case; of ours, text: the texts alone."""

TEXT, WHOLE = "text", "whole"


# --- ours ----------------------------------------------------------------------------------------


def built(chunks: Iterable[Sequence[CaseFeatures]]) -> CaseIndex:
    """Return the index over all cases, which come some at a time in order of their ids."""
    return CaseIndex().fit_tables([FeatureTable.of(chunk) for chunk in chunks])


def forget_words(index: CaseIndex) -> None:
    """Let the index look up every word of a question anew."""
    index.texts_.spelled._known.clear()


def nearest_texts(index: CaseIndex, query: CaseFeatures) -> Sequence[int]:
    """Return the rows of the texts nearest to a question, best first."""
    texts = index.texts_
    rows: list[int] = top_rows(texts.cosines(texts.ask((query.said, query.told))), TOP).tolist()
    return rows


def ours(index: CaseIndex, queries: Sequence[CaseFeatures], seconds: float) -> Iterator[Row]:
    """Yield our rows: the text alone and the whole, with words unknown and known."""
    n_cases = len(index)
    ways: list[tuple[str, Callable[[CaseFeatures], object], float]] = [
        (TEXT, lambda query: nearest_texts(index, query), bytes_of(index.texts_)),
        (WHOLE, lambda query: index.ask(query).best(SHOWN), bytes_of(index)),
    ]
    for kind, ask, size in ways:
        for name, before in (("ours", lambda: forget_words(index)), ("ours, seen", lambda: None)):
            yield Row(
                cases=n_cases,
                kind=kind,
                name=name,
                build=seconds,
                size=size / n_cases,
                times=milliseconds(ask, queries, before),
            )


# --- peers ---------------------------------------------------------------------------------------


def text_rows(
    course: Course, texts: Sequence[str], queries: Sequence[CaseFeatures]
) -> Iterator[Row]:
    """Yield the rows of all that find the nearest texts."""
    asked = [query.said for query in queries]
    for name, peer in TEXT_PEERS.items():
        yield course.row(name, partial(peer, texts), lambda engine: milliseconds(engine.ask, asked))


def sql_row(course: Course, index: CaseIndex, queries: Sequence[CaseFeatures]) -> Row:
    """Return the row of the whole score in SQL, each answer held against ours."""
    asked = [asked_of(index, query) for query in queries]

    def times(engine: Any) -> tuple[float, ...]:
        for query, question in zip(queries, asked, strict=True):
            assert_agrees(index, query, engine.best(question))
        return milliseconds(engine.best, asked)

    return course.row("DuckDB SQL", lambda: by_duckdb(index), times)


def whole_rows(
    course: Course,
    index: CaseIndex,
    *,
    texts: Sequence[str],
    queries: Sequence[CaseFeatures],
) -> Iterator[Row]:
    """Yield the rows of all that go by more than words."""
    yield sql_row(course, index, queries)
    if scale_lance.INSTALLED:
        asked = [scale_lance.asked_of(index, query) for query in queries]
        yield course.row(
            "LanceDB hybrid",
            lambda: scale_lance.by_lancedb(index, texts),
            lambda engine: milliseconds(engine.best, asked),
        )


# --- the table -----------------------------------------------------------------------------------


@dataclass(slots=True, kw_only=True)
class Source:
    """Gives cases some at a time; keeps their texts, and the seconds that making them took."""

    world: World
    texts: list[str] = field(default_factory=list)
    seconds: float = 0.0

    def chunks(self, n_cases: int) -> Iterator[Sequence[CaseFeatures]]:
        """Yield the cases, some at a time."""
        start = time.perf_counter()
        for chunk in self.world.chunks(n_cases):
            self.texts += [f"{case.said}\n{case.told}" for case in chunk]
            self.seconds += time.perf_counter() - start
            yield chunk
            start = time.perf_counter()


def rows_of(
    world: World, n_cases: int, *, queries: Sequence[CaseFeatures], spent: Spent
) -> Iterator[Row]:
    """Yield the rows of one size, each as soon as it is there."""
    source, start = Source(world=world), time.perf_counter()
    index = built(source.chunks(n_cases))
    seconds = time.perf_counter() - start - source.seconds
    beside: dict[str, float] = {}
    for row in ours(index, queries, seconds):
        beside.setdefault(row.kind, row.percentile(50))
        yield row
    course = Course(cases=n_cases, kind=TEXT, beside=beside[TEXT], spent=spent)
    yield from text_rows(course, source.texts, queries)
    course = Course(cases=n_cases, kind=WHOLE, beside=beside[WHOLE], spent=spent)
    yield from whole_rows(course, index, texts=source.texts, queries=queries)


def drawn(rows: Sequence[Row]) -> str:
    """Return the chart of the measured rows."""
    lines: dict[str, list[tuple[float, float]]] = {}
    for row in rows:
        if row.times:
            points = lines.setdefault(f"{row.name} ({row.kind})", [])
            points.append((row.cases, row.percentile(50)))
    return chart(lines, "Middle time of an answer, one thread")


def main(show: Callable[[str], None] = print) -> None:
    """Print the table, a row as soon as it is there, and write the chart."""
    parser = argparse.ArgumentParser(description="what an answer costs as cases grow")
    parser.add_argument("--cases", nargs="+", type=int, default=[10_000, 100_000], metavar="N")
    parser.add_argument("--queries", type=int, default=100, metavar="N")
    parser.add_argument("--chart", type=Path, metavar="FILE", help="write an SVG file")
    given = parser.parse_args()
    world, spent, rows = World(), Spent(), []
    queries = world.queries(given.queries)
    show(f"{given.queries} questions, {os.cpu_count()} processors.\n{ABOUT}\n\n{HEAD}")
    with threadpool_limits(1):
        for n_cases in sorted(set(given.cases)):
            for row in rows_of(world, n_cases, queries=queries, spent=spent):
                rows.append(row)
                show(row.line())
    if given.chart:
        given.chart.write_text(drawn(rows), encoding="utf-8")


if __name__ == "__main__":
    main()
