"""Invented cases in the shape of the demonstration's, as many as wanted, a chunk at a time.

A case belongs to one of 2,000 problems, each made of a case of the demonstration: it has words,
findings, codes and readings of its problem beside others. Words come by rank from a double power
law, the demonstration's own first, so that the vocabulary grows with the cases. A chunk has a seed
of its own: the first cases are the same however many follow.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import compress, pairwise
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from kb.retrieval.features import CaseFeatures, Token
from kb.retrieval.measures import Measure
from tests.benchmarks.scale_words import MOST_WORDS, rank_shares, seeds, word_list

Numbers = NDArray[np.signedinteger[Any]]
Floats = NDArray[np.float64]

SEED: Final = 20261129
CHUNK: Final = 10_000
# Counts as the table of the workload has them (our choice).
PROBLEMS: Final = 2_000
VEHICLES: Final = 6_000
# Mean words of a case as it came in, of what was found, of a query; the share of them that are of
# the problem, and how many it has: 49 distinct words a case, 12 a query.
SAID, TOLD, ASKED = 14, 44, 13
_OWN_WORDS: Final = 16
_OWN_SHARE: Final = 0.3
# Share of what the problem has that a case, and a query, has of it; and others beside it.
_KEPT: Final = 0.6
_ASKED_TOKENS: Final = 0.4
_OTHER_TOKENS: Final = 2
_READ, _ASKED_READ = 0.85, 0.5
_OTHER_READ: Final = 1.2
CODES: Final = 600
_PROBLEM_CODES: Final = 2
_CODE_KEPT, _OTHER_CODES = 0.7, 0.5
_ASKED_CODES: Final = 0.4
ASKED_VEHICLES: Final = 0.7
# Of the spread of a quantity, how much is between problems and how much within one.
_BETWEEN, _WITHIN = 0.7, 0.7


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """What the cases of one cause have in common; readings with their spread within it."""

    cause: str
    words: Numbers
    tokens: tuple[Token, ...]
    codes: Numbers
    readings: tuple[tuple[Measure, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Vehicle:
    """The tokens of a vehicle and its group."""

    tokens: tuple[Token, ...]
    group: str


def code_tokens(code: str) -> tuple[Token, Token]:
    """Return the tokens of a stored code."""
    family = code[:3]
    return (
        Token(part="code", field=f"code|{code}", value="stored", what=f"code {code}"),
        Token(part="scan", field=f"code family|{family}", value="stored", what=f"codes {family}.."),
    )


def _vehicles(rng: np.random.Generator) -> list[Vehicle]:
    """Return vehicles of the demonstration's makes, with more models and engines of each."""
    by_kind = defaultdict(set)
    for token in (token for case in seeds() for token in case.tokens if token.part == "vehicle"):
        kind, _, name = token.field.partition("|")
        by_kind[kind].add(name)
    makes, models, engines = (sorted(by_kind[kind]) for kind in ("make", "model", "engine"))
    known: dict[str, Token] = {}

    def told(kind: str, name: str) -> Token:
        field = f"{kind}|{name}"
        return known.setdefault(
            field, Token(part="vehicle", field=field, value="same", what=f"{kind} {name}")
        )

    found: dict[tuple[str, str, str], None] = {}
    while len(found) < VEHICLES:
        make = makes[rng.integers(len(makes))]
        model = f"{models[rng.integers(len(models))]} {rng.integers(1, 6)}"
        found.setdefault((make, model, engines[rng.integers(len(engines))]))
    return [
        Vehicle(
            tokens=(told("make", make), told("model", model), told("engine", engine)),
            group=f"{make} {model}",
        )
        for make, model, engine in found
    ]


class World:
    """All that the cases are drawn from."""

    def __init__(self, *, seed: int = SEED, words: int = MOST_WORDS) -> None:
        self.seed = seed
        rng = np.random.default_rng([seed, 0])
        self.words = word_list(rng, words)
        self.shares = rank_shares(words)
        self.vehicles = _vehicles(rng)
        numbers = rng.permutation(4000)[:CODES]
        self.codes = [code_tokens(f"P{number:04d}") for number in numbers]
        self.scanned = [
            Token(part="scan", field="scan", value=value, what=f"scanned, {value}")
            for value in ("no codes", "codes stored")
        ]
        self.tokens = [t for c in seeds() for t in c.tokens if t.part not in _OWN_PARTS]
        self.readings = self._all_readings()
        self.problems = [self._problem(number, rng) for number in range(PROBLEMS)]

    def _all_readings(self) -> list[tuple[Measure, float]]:
        values = defaultdict(list)
        for case in seeds():
            for row in case.measures:
                values[row.key].append(row.value)
        # A quantity that one case alone has is taken to spread by a tenth of its value.
        spread = {k: float(np.std(v)) or abs(v[0]) / 10 or 1.0 for k, v in values.items()}
        return [(row, spread[row.key]) for case in seeds() for row in case.measures]

    def _problem(self, number: int, rng: np.random.Generator) -> Problem:
        case = seeds()[number % len(seeds())]
        spread = {row.key: width for row, width in self.readings}
        readings = [
            (_moved(row, _BETWEEN * spread[row.key] * rng.normal()), _WITHIN * spread[row.key])
            for row in case.measures
        ]
        return Problem(
            cause=f"{case.cause} {number}",
            words=self._ranks(_OWN_WORDS, rng),
            tokens=tuple(token for token in case.tokens if token.part not in _OWN_PARTS),
            codes=rng.integers(CODES, size=rng.binomial(2 * _PROBLEM_CODES, 0.5)),
            readings=tuple(readings),
        )

    def _ranks(self, size: int, rng: np.random.Generator) -> Numbers:
        return np.searchsorted(self.shares, rng.random(size)).clip(max=len(self.words) - 1)

    def _texts(self, whose: Numbers, mean: int, rng: np.random.Generator) -> list[str]:
        """Return a text for each problem in ``whose``."""
        # As notes are: some short, some long.
        sizes = np.maximum(2, rng.gamma(4, mean / 4, len(whose))).astype(np.int64)
        ids = self._ranks(int(sizes.sum()), rng)
        own = rng.random(len(ids)) < _OWN_SHARE
        pools = np.stack([problem.words for problem in self.problems])
        owners = np.repeat(whose, sizes)[own]
        ids[own] = pools[owners, rng.integers(_OWN_WORDS, size=len(owners))]
        words = [self.words[at] for at in ids.tolist()]
        ends = np.cumsum([0, *sizes]).tolist()
        return [" ".join(words[a:b]) for a, b in pairwise(ends)]

    def chunks(self, n_cases: int, size: int = CHUNK) -> Iterator[list[CaseFeatures]]:
        """Yield cases in order of their ids, at most ``size`` at once."""
        for start in range(0, n_cases, size):
            yield self._chunk(start, min(size, n_cases - start))

    def _chunk(self, start: int, size: int) -> list[CaseFeatures]:
        draw = _Draw(self, size, np.random.default_rng([self.seed, 1, start]))
        said = self._texts(draw.whose, SAID, draw.rng)
        told = self._texts(draw.whose, TOLD, draw.rng)
        tokens = draw.tokens((_KEPT, _OTHER_TOKENS), (_CODE_KEPT, _OTHER_CODES), vehicles=1.0)
        readings = draw.readings(_READ, _OTHER_READ)
        return [
            CaseFeatures(
                case=f"B{start + at:08d}",
                said=said[at],
                told=told[at],
                tokens=tokens[at],
                measures=readings[at],
                cause=self.problems[number].cause,
                group=self.vehicles[draw.driven[at]].group,
            )
            for at, number in enumerate(draw.whose.tolist())
        ]

    def queries(self, number: int) -> list[CaseFeatures]:
        """Return open jobs with the same problems: what was said, some tokens, some readings."""
        draw = _Draw(self, number, np.random.default_rng([self.seed, 2]))
        said = self._texts(draw.whose, ASKED, draw.rng)
        tokens = draw.tokens((_ASKED_TOKENS, 0), (_ASKED_CODES, 0), vehicles=ASKED_VEHICLES)
        readings = draw.readings(_ASKED_READ, 0)
        groups = [self.vehicles[at].group for at in draw.driven]
        return [
            CaseFeatures(
                case="Q",
                said=said[at],
                tokens=tokens[at],
                measures=readings[at],
                group=groups[at] if tokens[at][-1].part == "vehicle" else "",
            )
            for at in range(number)
        ]


_OWN_PARTS: Final = frozenset({"vehicle", "code", "scan"})


def _moved(row: Measure, by: float) -> Measure:
    """Return a reading with another value; ``dataclasses.replace`` takes twice as long."""
    return Measure(
        key=row.key,
        value=row.value + by,
        what=row.what,
        canonical=row.canonical,
        unit=row.unit,
        usual=row.usual,
        moved=row.moved,
    )


class _Draw:
    """Jobs drawn at once; ``whose`` are the numbers of their problems, ``driven`` of vehicles."""

    def __init__(self, world: World, size: int, rng: np.random.Generator) -> None:
        self.world, self.size, self.rng = world, size, rng
        # The commonest problem comes some 20 times as often as one in the middle (our choice).
        odds = 1 / (np.arange(PROBLEMS) + 50)
        self.whose = rng.choice(PROBLEMS, size, p=odds / odds.sum())
        self.driven = (VEHICLES * rng.random(size) ** 2).astype(np.int64).tolist()

    def _kept(self, share: float) -> list[list[bool]]:
        """Return for each job which of the things of its problem it has."""
        found: list[list[bool]] = (self.rng.random((self.size, 64)) < share).tolist()
        return found

    def _others(self, mean: float, among: int) -> list[list[int]]:
        """Return for each job the numbers of other things that it has."""
        sizes = self.rng.poisson(mean, self.size)
        numbers = self.rng.integers(among, size=int(sizes.sum())).tolist()
        ends = np.cumsum([0, *sizes]).tolist()
        return [numbers[a:b] for a, b in pairwise(ends)]

    def _codes(self, kept: float, others: float) -> list[dict[int, None]]:
        rows = zip(self.whose.tolist(), self._kept(kept), strict=True)
        own = [compress(self.world.problems[at].codes.tolist(), keep) for at, keep in rows]
        more = self._others(others, CODES)
        return [dict.fromkeys([*a, *b]) for a, b in zip(own, more, strict=True)]

    def tokens(
        self, told: tuple[float, float], codes: tuple[float, float], *, vehicles: float
    ) -> list[tuple[Token, ...]]:
        """Return tokens, one a field: the share kept and how many others, of codes as well."""
        world, found = self.world, []
        kept, others = self._kept(told[0]), self._others(told[1], len(world.tokens))
        known = (self.rng.random(self.size) < vehicles).tolist()
        for at, stored in enumerate(self._codes(*codes)):
            problem = world.problems[self.whose[at]]
            rows = {token.field: token for token in compress(problem.tokens, kept[at])}
            for number in others[at]:
                rows.setdefault(world.tokens[number].field, world.tokens[number])
            for number in stored:
                rows.update((token.field, token) for token in world.codes[number])
            scan = world.scanned[bool(stored)]
            vehicle = world.vehicles[self.driven[at]].tokens if known[at] else ()
            found.append((*rows.values(), scan, *vehicle))
        return found

    def readings(self, kept: float, others: float) -> list[tuple[Measure, ...]]:
        """Return readings: the share of those of the problem, and how many others."""
        world, found = self.world, []
        noise = self.rng.normal(size=(self.size, 64)).tolist()
        more = self._others(others, len(world.readings))
        for at, keep in enumerate(self._kept(kept)):
            rows = [*compress(world.problems[self.whose[at]].readings, keep)]
            rows += [world.readings[number] for number in more[at]]
            made = {
                row.key: _moved(row, spread * by)
                for (row, spread), by in zip(rows, noise[at], strict=False)
            }
            found.append(tuple(made.values()))
        return found
