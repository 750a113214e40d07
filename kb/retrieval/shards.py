"""An index in several shards, each asked on its own: the same answers as from one index.

The asking process keeps what is counted of all cases (causes, tokens, readings), shards keep
everything. Cases that were written later are laid over in the asking process; their older state
is taken out of the shards by their ids.
"""

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from hashlib import blake2b
from typing import Any, Final, Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray
from typing_extensions import override

from kb.errors import EmptyIndexError
from kb.retrieval.asked import Asked, Codes, Witnesses
from kb.retrieval.feature_table import FeatureTable
from kb.retrieval.features import CaseFeatures
from kb.retrieval.index import NO_CASE, CaseIndex
from kb.retrieval.layer import Layer
from kb.retrieval.layers import LayeredAsked, LayeredIndex
from kb.retrieval.postings import Rows
from kb.retrieval.shard import Found, Near, Question, Shard, ShardAnswer, Witness
from kb.retrieval.similarity import MOST_CONTRARY, Match
from kb.retrieval.whole import Whole

# Cases asked for at once with reasons, and those with a cause: what a page and a vote need. More
# are asked for again (our choice).
_AT_ONCE: Final = 10
_WITNESSES: Final = 15


def shard_of(case: str, n_shards: int) -> int:
    """Return the shard of a case: a hash of its id, so that shards are of like size.

    Examples
    --------
    >>> [shard_of(case, 4) for case in ("J-1", "J-2", "J-3", "J-4")]
    [3, 3, 2, 1]
    """
    digest = blake2b(case.encode("utf-8", "replace"), digest_size=8).digest()
    return int.from_bytes(digest, "big") % n_shards


@dataclass(frozen=True, slots=True)
class ShardTables:
    """The cases of one shard in tables of all, taken from each when it is read.

    ``rows`` are theirs in each table, ascending.
    """

    tables: Iterable[FeatureTable]
    rows: Sequence[Rows]

    def __len__(self) -> int:
        """Return the number of cases."""
        return sum(map(len, self.rows))

    def __iter__(self) -> Iterator[FeatureTable]:
        """Yield the cases, table by table."""
        for table, rows in zip(self.tables, self.rows, strict=True):
            yield table.take(rows.tolist())


def split(
    tables: Iterable[FeatureTable], n_shards: int, *, only: Collection[str] | None = None
) -> list[ShardTables]:
    """Return the cases of each shard.

    Parameters
    ----------
    tables : iterable of FeatureTable
        All cases, in order of their ids; read again whenever a shard is.
    n_shards : int
        How many shards.
    only : collection of str, optional
        Ids of the cases wanted; without it all.
    """
    rows: list[list[Rows]] = [[] for _ in range(n_shards)]
    for table in tables:
        wanted = [at for at, case in enumerate(table.cases) if only is None or case in only]
        shards = np.array([shard_of(table.cases[at], n_shards) for at in wanted], np.int64)
        for number, own in enumerate(rows):
            own.append(np.array(wanted, np.int64)[shards == number])
    return [ShardTables(tables, own) for own in rows]


class Asking(Protocol):
    """What asks all shards."""

    def __len__(self) -> int:
        """Return how many shards there are."""

    def ask(self, question: Question) -> Sequence[ShardAnswer | None]:
        """Return the answer of every shard, None where one could not be asked."""


class ShardsHere:
    """Shards in this very process, asked one after the other."""

    def __init__(self, shards: Sequence[CaseIndex]) -> None:
        self._shards = [Shard(index) for index in shards]

    @classmethod
    def fitted(cls, table: FeatureTable, whole: Whole, n_shards: int) -> "ShardsHere":
        """Return the cases of a table in shards."""
        return cls([Layer(whole).fit_tables(part) for part in split([table], n_shards)])

    def __len__(self) -> int:
        """Return how many shards there are."""
        return len(self._shards)

    def ask(self, question: Question) -> Sequence[ShardAnswer | None]:
        """Return the answer of every shard."""
        return [shard.answer(question) for shard in self._shards]


class ShardedIndex(LayeredIndex):
    """An index whose cases are in shards; asked as an index is.

    Parameters
    ----------
    base : CaseIndex
        What is counted of all cases, see ``kb.retrieval.whole.counted``; its rows number them.
    shards : Asking
        Hold the cases of ``base``.
    later, gone
        As in ``LayeredIndex``.
    """

    def __init__(
        self,
        base: CaseIndex,
        shards: Asking,
        later: Sequence[Layer] = (),
        *,
        gone: Sequence[Rows] | None = None,
    ) -> None:
        super().__init__(base, later, gone=gone)
        self.shards = shards
        self._gone_ids = tuple(base.ids_[int(row)] for row in self.gone[0])
        self._tail = (
            Shard(LayeredIndex(self.layers[1], self.later_layers[1:], gone=self.gone[1:]))
            if later
            else None
        )

    @override
    def changed(self, cases: Sequence[CaseFeatures], touched: Iterable[str]) -> "ShardedIndex":
        made = super().changed(cases, touched)
        return ShardedIndex(self.base, self.shards, made.later_layers, gone=made.gone)

    @override
    def search(self, query: CaseFeatures, *, top: int = 10) -> tuple[Match, ...]:
        if not len(self):
            raise EmptyIndexError(NO_CASE)
        return self.ask(query).best(top)

    @override
    def ask(self, query: CaseFeatures) -> "ShardedAsked":  # type: ignore[override]
        return ShardedAsked(index=self, query=query, answers=self.answers(query, _AT_ONCE))

    def answers(
        self, query: CaseFeatures, top: int, among: Collection[str] | None = None
    ) -> "Answers":
        """Return what all shards and the later cases say."""
        question = Question(
            query=query,
            top=top,
            witnesses=_WITNESSES,
            among=None if among is None else frozenset(among),
            gone=self._gone_ids,
        )
        found = self.shards.ask(question)
        told = [answer for answer in found if answer is not None]
        if self._tail is not None:
            # Some may be of causes that nobody knew when all were fitted, and do not vote.
            every = Question(
                query=query, top=top, witnesses=self.size, among=question.among, gone=()
            )
            told.append(self._tail.answer(every))
        return Answers(told, asked=len(found), answered=sum(a is not None for a in found))


@dataclass(frozen=True, slots=True)
class Answers:
    """What was said by the shards that answered, and how many were asked."""

    told: Sequence[ShardAnswer]
    asked: int
    answered: int
    near: frozenset[str] = field(init=False)

    def __post_init__(self) -> None:
        every: list[Near] = sorted(
            (near for answer in self.told for near in answer.near),
            key=lambda near: (-near.weight, near.case),
        )
        nearest = frozenset(near.case for near in every[:MOST_CONTRARY])
        object.__setattr__(self, "near", nearest)

    def best(self, top: int) -> list[Match]:
        """Return the best cases of all, best first, ties by case id."""
        pairs: list[Found] = [found for answer in self.told for found in answer.best]
        rows = [low if low.case in self.near else high for high, low in pairs]
        return sorted(rows, key=lambda row: (-row.score, row.case))[:top]

    def witnesses(self) -> list[tuple[str, float]]:
        """Return cases with a cause and their scores, best first, ties by case id."""
        pairs: list[Witness] = [one for answer in self.told for one in answer.witnesses]
        near = self.near
        rows = [(row.case, row.contradicted if row.case in near else row.score) for row in pairs]
        return sorted(rows, key=lambda row: (-row[1], row[0]))


@dataclass(frozen=True, slots=True, kw_only=True)
class ShardedAsked:
    """One query held against the cases of all shards.

    ``further`` holds what they said where more was asked than at first.
    """

    index: ShardedIndex
    query: CaseFeatures
    answers: Answers
    further: list[Answers] = field(default_factory=list, repr=False, compare=False)

    @property
    def missing(self) -> int:
        """How many shards could not be asked, the most at one time."""
        return max(answers.asked - answers.answered for answers in (self.answers, *self.further))

    def best(self, top: int, among: Collection[str] | None = None) -> tuple[Match, ...]:
        """Return the ``top`` best cases, see ``Asked.best``."""
        answers = self.answers
        if among is not None or top > _AT_ONCE:
            answers = self.index.answers(self.query, top, among)
            self.further.append(answers)
        return tuple(_numbered(self.index.row_of, match) for match in answers.best(top))

    def witnesses(self, top: int, cause_of: Codes) -> Witnesses:
        """Return the ``top`` best cases that have a cause, see ``Ranked.witnesses``.

        Raises
        ------
        ValueError
            If more are wanted than shards were asked for.
        """
        if top > _WITNESSES:
            raise ValueError(f"expected at most {_WITNESSES} witnesses, got {top}; ask for fewer")
        known = [(self.index.row_of(case), score) for case, score in self.answers.witnesses()]
        rows = [(row, score) for row, score in known if row is not None and cause_of[row] >= 0]
        numbers = [row for row, _ in rows[:top]]
        scores: NDArray[Any] = np.array([score for _, score in rows[:top]], np.float32)
        return Witnesses(numbers, scores, self.index.weights_of(numbers))


def _numbered(row_of: Callable[[str], int | None], match: Match) -> Match:
    row = row_of(match.case)
    assert row is not None
    return Match(case=match.case, row=row, score=match.score, reasons=match.reasons)


AnyAsked: TypeAlias = Asked | LayeredAsked | ShardedAsked
