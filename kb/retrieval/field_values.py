"""The recorded values of each field, found among ordered keys when they are asked for."""

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence

from typing_extensions import override

from kb.retrieval.features import field_of, token_key


class FieldValues(Mapping[str, tuple[str, ...]]):
    """All values of each field, in order.

    Parameters
    ----------
    keys : sequence of str
        Those of all tokens, in order.
    """

    def __init__(self, keys: Sequence[str]) -> None:
        self._keys = keys
        self._known: dict[str, tuple[str, ...]] = {}

    def _span(self, start: str) -> range:
        """Return the numbers of the keys with that beginning."""
        first = bisect_left(self._keys, start)
        after = start[:-1] + chr(ord(start[-1]) + 1)
        return range(first, bisect_left(self._keys, after, first))

    @override
    def __getitem__(self, field: str) -> tuple[str, ...]:
        found = self._known.get(field)
        if found is None:
            start = token_key(field, "")
            values = (self._keys[at][len(start) :] for at in self._span(start))
            # A field may have a tab in its own name; a value never has one.
            found = tuple(value for value in values if "\t" not in value)
            if not found:
                raise KeyError(field)
            self._known[field] = found
        return found

    @override
    def __iter__(self) -> Iterator[str]:
        return iter(dict.fromkeys(map(field_of, self._keys)))

    @override
    def __len__(self) -> int:
        return sum(1 for _ in self)

    def beginning(self, start: str) -> list[str]:
        """Return the fields with that beginning, in order of their keys."""
        return list(dict.fromkeys(field_of(self._keys[at]) for at in self._span(start)))
