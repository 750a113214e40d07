"""What each field is worth between two cases of one cause, reckoned when it is first asked for."""

from collections.abc import Sequence
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kb.retrieval.columns import Named, Names
from kb.retrieval.features import Token, token_key
from kb.retrieval.field_rows import FieldRows
from kb.retrieval.field_values import FieldValues
from kb.retrieval.kept_arrays import Arrays
from kb.retrieval.kept_scales import KeptScales, scale_arrays
from kb.retrieval.kept_values import KeptValues, value_arrays
from kb.retrieval.levels import Coded
from kb.retrieval.measures import Measure, rarity
from kb.retrieval.moments import (
    Codes,
    Copied,
    Scale,
    copied,
    fit_scale,
    shrunk_copy_rate,
    shrunk_presence_rate,
)
from kb.retrieval.postings import Postings
from kb.retrieval.remembered import Remembered
from kb.retrieval.similarity import COPY_RATE, token_agreement, token_conflict

Floats = NDArray[np.float64]


# How often cases of one cause share each token, by number of the token.
COPIES = "copies"
# Readings of questions of which is remembered how they compare, some .3 kB each (our choice).
_MOST_REMEMBERED: Final = 2_048


class FieldWorth:
    """The counted part of an index: scales of quantities, copy rates of tokens."""

    ids_: Sequence[str]
    causes_: Sequence[str | None]
    groups_: Sequence[str]
    stated_: Sequence[str]
    fields_: FieldRows
    tokens_: Postings
    measures_: Postings
    values_: Floats | KeptValues
    weights_: Floats | Coded

    def __init__(self) -> None:
        self._scales: dict[str, Scale] = {}
        # Those that were fitted before.
        self.kept_scales_: KeptScales | None = None
        self.kept_copies_: Floats | None = None
        self._rates: dict[str, float] = {}
        self._conflicts: dict[tuple[str, str], float] = {}
        self._normal = Remembered[tuple[str, float, str], float](_MOST_REMEMBERED)
        self._rare = Remembered[Measure, str](_MOST_REMEMBERED)

    @cached_property
    def cause_codes_(self) -> Codes:
        """Number of the cause of each case in order of names, -1 for none."""
        if isinstance(self.causes_, Named):
            return self.causes_.codes.astype(np.int64)
        at = {name: i for i, name in enumerate(sorted({c for c in self.causes_ if c is not None}))}
        return np.array([at.get(c, -1) if c is not None else -1 for c in self.causes_], np.int64)

    @cached_property
    def _sizes(self) -> Codes:
        codes = self.cause_codes_
        return np.bincount(codes[codes >= 0], minlength=int(codes.max(initial=0)) + 1)

    @cached_property
    def values_of_(self) -> FieldValues:
        """All recorded values of each field, in order."""
        keys = self.tokens_.keys
        return FieldValues(keys.names if isinstance(keys, Names) else sorted(keys))

    def scale(self, key: str) -> Scale:
        """Return how values of measure ``key`` become normal scores, and their correlation."""
        if key not in self._scales:
            kept = None if self.kept_scales_ is None else self.kept_scales_.of(key)
            self._scales[key] = kept or self._fit_scale(key)
        return self._scales[key]

    def score(self, measure: Measure, group: str) -> float:
        """Return the normal score of a reading in a vehicle of ``group``.

        It is remembered: several weigh a reading, and a job is asked again and again while it grows.
        """
        key = measure.key, measure.value, group
        found = self._normal.get(key)
        if found is None:
            found = self._normal.keep(key, self.scale(measure.key).score(measure.value, group))
        return found

    def rarity(self, measure: Measure) -> str:
        """Return how often cases read as extreme a value, see ``rarity``; remembered as its score."""
        found = self._rare.get(measure)
        if found is None:
            population = self.scale(measure.key).population
            found = self._rare.keep(measure, rarity(measure, population))
        return found

    def _fit_scale(self, key: str) -> Scale:
        rows = self.measures_.of(key)
        return fit_scale(
            self.values_[self.measures_.span(key)],
            self.cause_codes_[rows],
            groups=Named(self._groups.names, self._groups.codes[rows]),
            n_cases=len(self.ids_),
        )

    def worth_arrays(self) -> Arrays:
        """Return values and scales of all quantities, and how often cases share tokens, as arrays."""
        scales = {key: self.scale(key) for key in self.measures_.keys}
        shared = [self.copied(key) for key in self.tokens_.keys]
        copies = np.array(shared, np.float64).reshape(-1, len(Copied._fields))
        measures = self.measures_
        arrays = value_arrays(measures, np.asarray(self.values_))
        values = KeptValues(arrays, measures)
        arrays |= scale_arrays(scales, self._groups, measures=measures, values=values)
        return arrays | {COPIES: copies}

    @cached_property
    def _groups(self) -> Named:
        groups = self.groups_
        return groups if isinstance(groups, Named) else Named.of(groups)

    def copy_rate(self, field: str) -> float:
        """Return the copy rate of a field with a fixed set of values."""
        if field not in self._rates:
            codes = np.full(len(self.ids_), -1, np.int64)
            for number, value in enumerate(self.values_of_.get(field, ())):
                codes[self.tokens_.of(token_key(field, value))] = number
            self._rates[field] = shrunk_copy_rate(codes, self.cause_codes_)
        return self._rates[field]

    def presence_rate(self, key: str, part: str) -> float:
        """Return the copy rate of a token that is there or is not written down."""
        if key not in self._rates:
            self._rates[key] = shrunk_presence_rate(self.copied(key), prior=COPY_RATE[part])
        return self._rates[key]

    def copied(self, key: str) -> Copied:
        """Return how often cases of one cause share a token."""
        at = None if self.kept_copies_ is None else self.tokens_.keys.get(key)
        if self.kept_copies_ is not None and at is not None:
            return Copied._make(self.kept_copies_[at].tolist())
        codes = self.cause_codes_[self.tokens_.of(key)]
        counts = np.bincount(codes[codes >= 0], minlength=len(self._sizes))
        return copied(counts, self._sizes)

    def often(self, token: Token) -> tuple[int, int]:
        """Return in how many of how many cases a token is."""
        return len(self.tokens_.of(token.key)), len(self.ids_)

    def recorded(self, field: str) -> int:
        """Return how many cases recorded a field."""
        return self.fields_.count(field)

    def agreement(self, token: Token) -> float:
        """Return the nats of a token that two cases have.

        One that no case here has counts as if one had it.
        """
        having, cases = self.often(token)
        same = max(1, having)
        if token.part == "observed":
            recorded = max(1, self.recorded(token.field))
            return token_agreement(self.copy_rate(token.field), same / recorded)
        return token_agreement(self.presence_rate(token.key, token.part), same / cases)

    def conflict(self, token: Token) -> float:
        """Return the nats of a field in which two cases have no value in common.

        The field counts by the most telling of its values, whichever of the two cases has it.
        """
        if token.part == "observed":
            return token_conflict(self.copy_rate(token.field))
        known = token.field, token.part
        if known not in self._conflicts:
            values = self.values_of_.get(token.field, (token.value,))
            keys = (token_key(token.field, value) for value in values)
            most = max(self.presence_rate(key, token.part) for key in keys)
            self._conflicts[known] = token_conflict(most)
        return self._conflicts[known]
