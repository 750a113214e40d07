"""The rows of the table of scale, and how each is measured."""

import gc
import time
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from typing import Any, Final

import numpy as np

# Passes over the questions, of which each question's best counts; seconds beyond which an engine is
# left out, as reckoned from the size before (our choice).
PASSES: Final = 3
MOST_SECONDS: Final = 120
HEAD: Final = (
    f"{'cases':>9}  {'':6}{'':20}{'build s':>9}{'bytes':>8}"
    f"{'p50 ms':>10}{'p95 ms':>10}{'p99 ms':>10}{'ratio':>9}"
)


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
