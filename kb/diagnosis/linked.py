"""The recorded findings of the cases as trees: what those of a job say together."""

from collections.abc import Mapping, Sequence
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from kb.diagnosis.kept_trees import tree_arrays, trees_of
from kb.diagnosis.links import FindingTrees, Recorded, fit_trees
from kb.retrieval.features import OBSERVED, Token, token_key
from kb.retrieval.index import CaseIndex
from kb.retrieval.kept_arrays import Arrays

Floats = NDArray[np.float64]
Codes = NDArray[np.int64]

# The part of what recorded findings say together beyond each for itself, as a calibration names it.
TOGETHER: Final = "together"
# Fields with more values than this, and fields beyond so many of those that were recorded most,
# are left for themselves, so that the tables stay small (our choice).
MOST_VALUES: Final = 12
MOST_FIELDS: Final = 120
# A tree has two fields at least.
_LEAST_FIELDS: Final = 2


class LinkedFindings:
    """Trees over the findings that the cases of an index recorded.

    Parameters
    ----------
    index : CaseIndex
        Fitted.
    causes : array of shape (n_cases,)
        Number of the cause of each case, -1 for none.
    n_causes : int
        Number of causes.
    kept : mapping, optional
        What ``as_arrays`` gave of the same cases; nothing is learned again then.
    """

    def __init__(
        self,
        index: CaseIndex,
        causes: Codes,
        n_causes: int,
        *,
        kept: Mapping[str, NDArray[Any]] | None = None,
    ) -> None:
        fits = [
            name
            for name in index.values_of_.beginning(OBSERVED)
            if 1 < len(index.values_of_[name]) <= MOST_VALUES
        ]
        fits.sort(key=lambda name: (-index.fields_.count(name), name))
        self.values = {name: index.values_of_[name] for name in sorted(fits[:MOST_FIELDS])}
        self.at = {name: number for number, name in enumerate(self.values)}
        self.trees = trees_of(kept) if kept else self._fit(index, causes, n_causes)

    def as_arrays(self) -> Arrays:
        """Return what was learned as arrays, none where nothing was."""
        return {} if self.trees is None else tree_arrays(self.trees)

    def _fit(self, index: CaseIndex, causes: Codes, n_causes: int) -> FindingTrees | None:
        if len(self.values) < _LEAST_FIELDS:
            return None
        codes = np.full((len(causes), len(self.values)), -1, np.int64)
        for field, values in self.values.items():
            for number, value in enumerate(values):
                codes[index.tokens_.of(token_key(field, value)), self.at[field]] = number
        known = causes >= 0
        recorded = Recorded(
            codes=codes[known],
            sizes=np.array([len(values) for values in self.values.values()], np.int64),
            causes=causes[known].astype(np.int64),
            weights=index.weights_[known],
            n_causes=n_causes,
        )
        return fit_trees(recorded)

    def _seen(self, tokens: Sequence[Token]) -> Codes:
        seen = np.full(len(self.values), -1, np.int64)
        for token in tokens:
            if token.value in self.values.get(token.field, ()):
                seen[self.at[token.field]] = self.values[token.field].index(token.value)
        return seen

    def together(self, tokens: Sequence[Token]) -> Floats | None:
        """Return what the findings say beyond each for itself, by cause, in nats.

        It is taken relative to all causes together; None where fewer than two are known here.
        """
        seen = self._seen(tokens)
        if self.trees is None or (seen >= 0).sum() < 2:
            return None
        told = self.trees.together(seen)
        return np.asarray(told[:-1] - told[-1], np.float64)

    def expected(self, tokens: Sequence[Token]) -> dict[str, Floats]:
        """Return P(value | cause, the findings) by field, all causes together as the last row."""
        if self.trees is None:
            return {}
        shares = self.trees.read(self._seen(tokens)).shares
        return {name: shares[at, :, : len(self.values[name])] for name, at in self.at.items()}
