"""What an answer costs as cases grow, ours beside plain libraries, in one table.

Run: ``python -m tests.benchmarks.bench_scale --cases 10000 100000 [--queries 100] [--chart FILE]``.
Needs ``pip install -e '.[bench]'``; 100,000 cases take 2 GB. Compare within one run.
"""

import argparse
import gc
import os
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Any, Final

import numpy as np
from threadpoolctl import threadpool_limits

from kb.retrieval.asked import top_rows
from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import CaseIndex
from tests.benchmarks.scale_cases import World
from tests.benchmarks.scale_chart import chart
from tests.benchmarks.scale_peers import TEXT_PEERS, TOP, bytes_of
from tests.benchmarks.scale_sql import TOLERANCE, asked_of, assert_agrees, by_duckdb

# Passes over the questions, of which each question's best counts; seconds beyond which an engine is
# left out, as reckoned from the size before (our choice).
PASSES: Final = 3
MOST_SECONDS: Final = 120
SHOWN: Final = 10

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
ours: each word of a question is looked up anew; "seen": all words of it were asked before.
bytes: of what is kept in memory, or in the engine's files, by case; of ours, text: the texts alone."""
HEAD: Final = (
    f"{'cases':>9}  {'':6}{'':20}{'build s':>9}{'bytes':>8}"
    f"{'p50 ms':>10}{'p95 ms':>10}{'p99 ms':>10}{'ratio':>9}"
)

TEXT, WHOLE = "text", "whole"


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One line of the table; without ``times``, in ms and ascending, a dash."""

    cases: int
    kind: str
    name: str
    build: float = 0.0
    size: float = 0.0
    times: tuple[float, ...] = ()
    beside: float = 0.0

    def percentile(self, percent: float) -> float:
        """Return the time within which so many of a hundred answers come."""
        return float(np.percentile(self.times, percent))

    def line(self) -> str:
        """Return the line."""
        start = f"{self.cases:9}  {self.kind:6}{self.name:20}"
        if not self.times:
            return start + f"{'-':>9}{'-':>8}" + 3 * f"{'-':>10}" + f"{'-':>9}"
        ms = "".join(f"{self.percentile(percent):10.3f}" for percent in (50, 95, 99))
        ratio = f"{self.beside / self.percentile(50):9.3f}" if self.beside else f"{'':9}"
        return start + f"{self.build:9.2f}{self.size:8.0f}{ms}{ratio}".rstrip()


@dataclass(slots=True, kw_only=True)
class Spent:
    """How long each engine took at the size before, to leave out what would take too long."""

    most: float = MOST_SECONDS
    before: dict[str, tuple[int, float]] = field(default_factory=dict)

    def allows(self, name: str, cases: int) -> bool:
        """Return whether an engine is fast enough; one left out stays out."""
        size, seconds = self.before.get(name, (cases, 0.0))
        return seconds * cases / size <= self.most

    def note(self, name: str, cases: int, *, seconds: float) -> None:
        """Keep how long an engine took."""
        self.before[name] = (cases, seconds)


def milliseconds(
    ask: Callable[[Any], object],
    questions: Sequence[Any],
    before: Callable[[], object] = lambda: None,
) -> tuple[float, ...]:
    """Return the time of each question, the best of the passes; ``before`` each is not timed."""
    best = np.full(len(questions), np.inf)
    for number in range(PASSES + 1):
        for at, question in enumerate(questions):
            before()
            start = time.perf_counter()
            ask(question)
            taken = 1000 * (time.perf_counter() - start)
            if number:
                best[at] = min(best[at], taken)
    return tuple(np.sort(best).tolist())


# --- ours ----------------------------------------------------------------------------------------


def built(cases: Sequence[CaseFeatures]) -> CaseIndex:
    """Return the index over all cases."""
    return CaseIndex().fit(cases)


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


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """The peers of one kind at one size; ``beside`` is our p50 in ms."""

    cases: int
    kind: str
    beside: float
    spent: Spent

    def row(
        self,
        name: str,
        peer: Callable[[], AbstractContextManager[Any]],
        times: Callable[[Any], tuple[float, ...]],
    ) -> Row:
        """Return the row of one peer."""
        if not self.spent.allows(name, self.cases):
            return Row(cases=self.cases, kind=self.kind, name=name)
        start = time.perf_counter()
        with peer() as engine:
            build = time.perf_counter() - start
            row = Row(
                cases=self.cases,
                kind=self.kind,
                name=name,
                build=build,
                size=engine.size / self.cases,
                times=times(engine),
                beside=self.beside,
            )
        self.spent.note(name, self.cases, seconds=time.perf_counter() - start)
        gc.collect()
        return row


def text_rows(
    course: Course, cases: Sequence[CaseFeatures], queries: Sequence[CaseFeatures]
) -> Iterator[Row]:
    """Yield the rows of all that find the nearest texts."""
    texts = [f"{case.said}\n{case.told}" for case in cases]
    asked = [query.said for query in queries]
    for name, peer in TEXT_PEERS.items():
        yield course.row(name, partial(peer, texts), lambda engine: milliseconds(engine.ask, asked))


def whole_row(course: Course, index: CaseIndex, queries: Sequence[CaseFeatures]) -> Row:
    """Return the row of the whole score in SQL, each answer held against ours."""
    asked = [asked_of(index, query) for query in queries]

    def times(engine: Any) -> tuple[float, ...]:
        for query, question in zip(queries, asked, strict=True):
            assert_agrees(index, query, engine.best(question))
        return milliseconds(engine.best, asked)

    return course.row("DuckDB SQL", lambda: by_duckdb(index), times)


# --- the table -----------------------------------------------------------------------------------


def rows_of(
    world: World, n_cases: int, *, queries: Sequence[CaseFeatures], spent: Spent
) -> Iterator[Row]:
    """Yield the rows of one size, each as soon as it is there."""
    cases = list(chain.from_iterable(world.chunks(n_cases)))
    start = time.perf_counter()
    index = built(cases)
    beside: dict[str, float] = {}
    for row in ours(index, queries, time.perf_counter() - start):
        beside.setdefault(row.kind, row.percentile(50))
        yield row
    course = Course(cases=n_cases, kind=TEXT, beside=beside[TEXT], spent=spent)
    yield from text_rows(course, cases, queries)
    course = Course(cases=n_cases, kind=WHOLE, beside=beside[WHOLE], spent=spent)
    yield whole_row(course, index, queries)


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
