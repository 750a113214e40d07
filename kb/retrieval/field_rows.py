"""The cases that recorded each field: read off the lists of its values, or held where that is slow."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from kb.retrieval.columns import Names, Texts
from kb.retrieval.features import field_of
from kb.retrieval.postings import Postings, Rows

# Values of a field up to which those not asked for are gone through one by one (our choice).
FEW_VALUES: Final = 6
_NONE: Final = np.zeros(0, np.int32)


@dataclass(frozen=True, slots=True)
class FieldRows:
    """Rows by field.

    The values of field ``i`` are the keys of ``tokens`` with the numbers ``spans[i]`` (the first,
    and the one after the last). Where they are few and no case has two of them, their rows are
    those of the field; a field of other values has rows of its ``own``.
    """

    tokens: Postings
    spans: Rows
    own: Postings

    @classmethod
    def of_tokens(cls, tokens: Postings) -> "FieldRows":
        """Return the rows of all fields; keys of the tokens are in order."""
        numbers: defaultdict[str, list[int]] = defaultdict(list)
        for at, key in enumerate(tokens.keys):
            numbers[field_of(key)].append(at)
        fields = sorted(numbers)
        rows = [_own_rows(tokens, numbers[field]) for field in fields]
        spans = [(numbers[field][0], numbers[field][-1] + 1) for field in fields]
        pointers = np.cumsum([0, *map(len, rows)]).astype(np.int32)
        own = Postings(Names(Texts.of(fields)), pointers, np.concatenate([_NONE, *rows]))
        return cls(tokens, np.array(spans, np.int32).reshape(-1, 2), own)

    @property
    def keys(self) -> Mapping[str, int]:
        """All fields, in order."""
        return self.own.keys

    def count(self, field: str) -> int:
        """Return how many cases recorded a field."""
        at = self.keys.get(field)
        if at is None:
            return 0
        held = int(self.own.pointers[at + 1] - self.own.pointers[at])
        first, after = self.spans[at]
        return held or int(self.tokens.pointers[after] - self.tokens.pointers[first])

    def of(self, field: str) -> Rows:
        """Return the rows of a field, ascending; none for an unknown field."""
        at = self.keys.get(field)
        if at is None:
            return _NONE
        held = self.own.of(field)
        return held if len(held) else self._of_values(at)

    def _of_values(self, at: int) -> Rows:
        first, after = self.spans[at]
        span = slice(self.tokens.pointers[first], self.tokens.pointers[after])
        rows = self.tokens.rows[span]
        return rows if after == first + 1 else np.sort(rows)

    def plain(self) -> Postings:
        """Return all of them as plain postings."""
        rows = [self.of(field) for field in self.keys]
        pointers = np.cumsum([0, *map(len, rows)]).astype(np.int32)
        return Postings(self.keys, pointers, np.concatenate([_NONE, *rows]))


def _own_rows(tokens: Postings, numbers: list[int]) -> Rows:
    """Return the rows that a field needs for itself: none where those of its values will do."""
    if len(numbers) == 1:
        return _NONE
    pointers = tokens.pointers
    rows = np.concatenate([tokens.rows[pointers[at] : pointers[at + 1]] for at in numbers])
    each = np.unique(rows)
    # A field with a tab in its name stands between the values of another one.
    side_by_side = numbers[-1] - numbers[0] == len(numbers) - 1
    if side_by_side and len(numbers) <= FEW_VALUES and len(each) == len(rows):
        return _NONE
    return each
