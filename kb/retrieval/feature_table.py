"""What the index compares of all cases as plain arrays: made case by case, kept, and put together.

Reading a text or a vehicle again costs a hundred times what taking its row from here does.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from kb.retrieval.analyzer import told_words
from kb.retrieval.feature_lists import Lists
from kb.retrieval.features import CaseFeatures
from kb.retrieval.learned import label_key
from kb.retrieval.spelling import spelled_words

# Columns of one value a case, and those of lists.
PLAIN: Final = ("cases", "marks", "causes", "standings", "origins", "groups", "said", "told")
LISTS: Final = ("said_words", "told_words", "spelled", "tokens", "labels", "measures")


@dataclass(frozen=True, slots=True, kw_only=True)
class FeatureTable:
    """The features of all cases in order of case ids; ``marks`` name what each was made from."""

    cases: tuple[str, ...]
    marks: tuple[str, ...]
    causes: tuple[str | None, ...]
    standings: tuple[str, ...]
    origins: tuple[str, ...]
    groups: tuple[str, ...]
    weights: NDArray[np.float64]
    said: tuple[str, ...]
    told: tuple[str, ...]
    said_words: Lists
    told_words: Lists
    spelled: Lists
    tokens: Lists
    labels: Lists
    measures: Lists

    @classmethod
    def of(cls, cases: Sequence[CaseFeatures], marks: Sequence[str] = ()) -> "FeatureTable":
        """Return the features of cases in any order, each with its mark if there are any."""
        order = sorted(range(len(cases)), key=lambda at: cases[at].case)
        rows = [cases[at] for at in order]
        return cls(
            cases=tuple(row.case for row in rows),
            marks=tuple(marks[at] if marks else "" for at in order),
            causes=tuple(row.cause for row in rows),
            standings=tuple(row.standing for row in rows),
            origins=tuple(row.origin for row in rows),
            groups=tuple(row.group for row in rows),
            weights=np.array([row.weight for row in rows], np.float64),
            said=tuple(row.said for row in rows),
            told=tuple(row.told for row in rows),
            said_words=Lists.counted(told_words(row.said) for row in rows),
            told_words=Lists.counted(told_words(row.told) for row in rows),
            spelled=Lists.counted((spelled_words(row.said) for row in rows), once=True),
            tokens=Lists.counted(([token.key for token in row.tokens] for row in rows), once=True),
            labels=Lists.counted(
                ([label_key(*label) for label in row.labels] for row in rows), once=True
            ),
            measures=Lists.of(
                ([read.key for read in row.measures] for row in rows),
                (read.value for row in rows for read in row.measures),
            ),
        )

    def __len__(self) -> int:
        """Return the number of cases."""
        return len(self.cases)

    def cause_texts(self) -> Iterator[tuple[str | None, str, str]]:
        """Yield cause, what came in and what was found, case by case."""
        yield from zip(self.causes, self.said, self.told, strict=True)

    def take(self, wanted: Sequence[int]) -> "FeatureTable":
        """Return the features of the cases in the rows ``wanted``, ascending."""
        rows = np.asarray(wanted, np.int64)
        plain: dict[str, Any] = {
            name: tuple(getattr(self, name)[at] for at in rows.tolist()) for name in PLAIN
        }
        lists = {name: getattr(self, name).take(rows) for name in LISTS}
        return FeatureTable(**plain, **lists, weights=self.weights[rows])

    def with_others(self, others: "FeatureTable") -> "FeatureTable":
        """Return the features of the cases of both, which have none in common."""
        plain: dict[str, Any] = {
            name: getattr(self, name) + getattr(others, name) for name in PLAIN
        }
        lists = {name: getattr(self, name).then(getattr(others, name)) for name in LISTS}
        weights = np.concatenate([self.weights, others.weights])
        both = FeatureTable(**plain, **lists, weights=weights)
        return both.take(sorted(range(len(both)), key=both.cases.__getitem__))
