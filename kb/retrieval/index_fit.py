"""Fits an index on cases that come some at a time: all are counted, then each is put in its place."""

import sys
from collections.abc import Iterator
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from kb.retrieval.feature_lists import Lists
from kb.retrieval.feature_table import FeatureTable
from kb.retrieval.gathered import GatheredLists
from kb.retrieval.postings import Postings
from kb.retrieval.text_fit import TextFit

_PLAIN: Final = ("cases", "causes", "standings", "origins", "groups", "said")
# Columns that say the same of many cases; each value is held once.
_REPEATED: Final = frozenset({"causes", "standings", "origins", "groups"})


class IndexFit:
    """Takes in tables of cases in order of case ids: first ``count`` each, then ``put`` each.

    What is held beside the result does not grow with the number of tables.

    Parameters
    ----------
    texts : TextFit
        Takes in their texts.
    """

    def __init__(self, texts: TextFit) -> None:
        self.texts = texts
        self._plain: dict[str, list[Any]] = {name: [] for name in _PLAIN}
        self._weights: list[NDArray[np.float64]] = [np.zeros(0)]
        self._lists = {
            "tokens": GatheredLists(),
            "labels": GatheredLists(),
            "spelled": GatheredLists(),
            "measures": GatheredLists(np.float64),
        }

    def count(self, table: FeatureTable) -> None:
        """Count what the next cases have, and keep what each has one of."""
        for name, held in self._plain.items():
            values = getattr(table, name)
            held.extend(map(_once, values) if name in _REPEATED else values)
        self._weights.append(table.weights)
        self.texts.count((table.said_words, table.told_words))
        for name, lists in _lists_of(table):
            self._lists[name].count(lists)

    def put(self, table: FeatureTable) -> None:
        """Put in the next cases, which come as they were counted."""
        self.texts.put((table.said_words, table.told_words))
        for name, lists in _lists_of(table):
            self._lists[name].put(lists)

    def plain(self, name: str) -> tuple[Any, ...]:
        """Return the one value of each case."""
        return tuple(self._plain[name])

    @property
    def weights(self) -> NDArray[np.float64]:
        """The weights of the cases as witnesses."""
        return np.concatenate(self._weights)

    def postings(self, name: str) -> Postings:
        """Return the cases by name of a column of lists."""
        return self._lists[name].postings()[0]

    def measures(self) -> tuple[Postings, NDArray[np.float64]]:
        """Return the cases by measure, and the values in that order."""
        return self._lists["measures"].postings()


def _once(value: str | None) -> str | None:
    return None if value is None else sys.intern(value)


def _lists_of(table: FeatureTable) -> Iterator[tuple[str, Lists]]:
    yield "tokens", table.tokens
    yield "labels", table.labels
    yield "spelled", table.spelled
    yield "measures", table.measures
